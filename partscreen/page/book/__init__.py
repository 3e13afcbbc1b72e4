"""The bench book on the page."""
