"""Readings typed by hand: the sheet to fill in, sittings, the answer about each part."""
