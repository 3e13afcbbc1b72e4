"""What to measure next, with which settings."""
