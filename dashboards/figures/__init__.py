"""Plotly figures as plain JSON values: pure functions from rows.

Colours are written as the style sheets name them ('var(--ink)'); the page's script puts the theme's colours in.
"""
