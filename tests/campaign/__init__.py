"""Whole cures: the real plant and the real rules in one process, drawn by seed and judged."""
