"""Papers made from a result."""
