"""Judging parts: a run, a watched folder, what is written of it, and which spreads it is judged by."""
