"""Runs of very many parts."""
