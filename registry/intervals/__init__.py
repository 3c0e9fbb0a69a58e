"""Interval, due date and the reason for both, for the whole plant and for one joint."""
