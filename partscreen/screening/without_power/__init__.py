"""What is seen without power: marking, mass, case, and the dies of opened pieces."""
