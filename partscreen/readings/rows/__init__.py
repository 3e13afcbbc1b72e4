"""Whose rows they are: sweeps, spot readings, lots and parts brought into one batch."""
