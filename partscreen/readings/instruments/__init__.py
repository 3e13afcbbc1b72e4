"""How well it was measured: the kit, leads, control piece, corrections and uncertainty."""
