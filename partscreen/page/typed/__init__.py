"""Readings typed on the page, and the empty sheet."""
