"""Did a part change since it was first read."""
