"""Work packs: which joints were broken, made again, leak-tested, and what still stands open before a system is handed back."""
