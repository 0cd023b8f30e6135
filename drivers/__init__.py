"""Wires and modules: everything that turns bytes into readings with a quality."""
