"""Faults of pads, thermostats and what they lie on."""
