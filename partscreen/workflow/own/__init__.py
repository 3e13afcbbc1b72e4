"""Files of the user: instruments and types, made by answers to questions."""
