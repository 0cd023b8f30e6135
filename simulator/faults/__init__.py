"""The catalogue of faults, found by looking into this package."""

import importlib
import inspect
import pkgutil

from simulator.faults.base import Fault


def catalogue() -> dict[str, type[Fault]]:
    """All faults by name; the name is the module's.

    Raises:
        TypeError: a module here does not hold exactly one fault.
    """
    found: dict[str, type[Fault]] = {}
    for module_info in pkgutil.iter_modules(__path__):
        if module_info.name == "base":
            continue
        module = importlib.import_module(f"{__name__}.{module_info.name}")
        own = [
            kind
            for _, kind in inspect.getmembers(module, inspect.isclass)
            if issubclass(kind, Fault) and kind.__module__ == module.__name__
        ]
        if len(own) != 1:
            raise TypeError(f"{module.__name__} holds {len(own)} faults; keep one in each module")
        found[module_info.name] = own[0]
    return found
