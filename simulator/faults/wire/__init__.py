"""Faults of modules and the wire to them."""
