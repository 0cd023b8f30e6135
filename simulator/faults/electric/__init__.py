"""Faults of mains, contactor and permit."""
