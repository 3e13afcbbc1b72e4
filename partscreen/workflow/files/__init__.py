"""Files of readings: how they are understood, and how a person puts that right."""
