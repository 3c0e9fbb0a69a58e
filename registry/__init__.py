"""Jointwright's application without pages: the register, the model, the plan, the walk and the ledgers."""
