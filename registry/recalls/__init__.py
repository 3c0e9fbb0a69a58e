"""Recalls: a tool, a person, a lot or a procedure turns out bad, and every joint that it made is called in."""
