"""What the parts of a lot say of each other, and what is known of the lot before anything is judged."""
