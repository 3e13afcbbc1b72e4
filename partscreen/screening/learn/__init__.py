"""What measured lots teach about the spreads of a type."""
