"""The kinds of link there are: every package beside this module that lists some."""

import importlib
import pkgutil
from functools import cache

import drivers
from drivers.base import LinkKind


@cache
def kinds() -> dict[str, LinkKind]:
    """Every kind by the word a configuration has for it, in the order of the words."""
    found: dict[str, LinkKind] = {}
    for package in pkgutil.iter_modules(drivers.__path__):
        if package.ispkg:
            module = importlib.import_module(f"drivers.{package.name}")
            found |= {kind.name: kind for kind in getattr(module, "KINDS", ())}
    return dict(sorted(found.items()))
