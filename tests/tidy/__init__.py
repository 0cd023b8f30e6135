"""Checks that read the tree. Each is a pure function with a bad sample of its own."""

from tests.tidy import docs, excuses, logs, names, packages, purity, shape, words
from tests.tidy.base import CHECKS, Check, Complaint, Tree

__all__ = ["CHECKS", "Check", "Complaint", "Tree"]

# Importing a module of checks adds them to CHECKS.
MODULES = (docs, excuses, logs, names, packages, purity, shape, words)
