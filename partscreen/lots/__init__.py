"""How many parts to test, what to do with a lot, and which supplier to trust."""
