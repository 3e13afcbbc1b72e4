"""Readings typed by hand: lines read and checked as they come, each kept on disk before the next is asked for."""
