"""The ledger of make-ups."""
