"""The ledger of leaks and their repairs, and rates by area."""
