"""Walks for a crew and a shift: the network, the stops worth most for the time, and the way between them."""
