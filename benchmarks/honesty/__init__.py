"""Lots made by an independent circuit simulator, and what evidence and naive baselines make of them."""
