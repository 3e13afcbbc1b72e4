"""The bench book: what goes in, what is looked up, what comes back."""
