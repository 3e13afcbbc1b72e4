"""Evidence for and against a part being what its marking says."""
