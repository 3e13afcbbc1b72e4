"""Parts unlike any known part."""
