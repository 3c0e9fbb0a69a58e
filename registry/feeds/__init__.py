"""What other programs subscribe to: a crew's weeks and walks as a calendar. Owns no table."""
