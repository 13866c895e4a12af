"""Rows and media of the shop. Knows the records only."""
