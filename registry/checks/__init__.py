"""What was found at a joint: the ledger of field results."""
