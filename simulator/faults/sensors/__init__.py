"""Faults of what measures."""
