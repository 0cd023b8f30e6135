"""Faults of the supervisor's own computer, its papers and the day."""
