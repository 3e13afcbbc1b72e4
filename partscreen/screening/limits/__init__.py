"""Does a part meet the printed limits of its type."""
