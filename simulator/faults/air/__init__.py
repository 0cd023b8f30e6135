"""Faults of bags, hoses, regulators and supply."""
