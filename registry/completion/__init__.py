"""Work packs: which joints were broken, made again, leak-tested; what stands open before a system is handed back."""
