"""Saltmarsh Point: an invented plant, laid out and then lived in for five years by the model's own process."""
