"""The catalogue of faults and disturbances, found by looking into this package's areas."""

import importlib
import inspect
import pkgutil
from functools import cache

from simulator.faults.base import Disturbance, Fault


@cache
def catalogue() -> dict[str, type[Fault]]:
    """All faults by name, disturbances among them; the name is the module's.

    Raises:
        TypeError: a module does not hold exactly one fault, or a name is taken twice.
    """
    found: dict[str, type[Fault]] = {}
    for area in pkgutil.iter_modules(__path__):
        if not area.ispkg:
            continue
        package = importlib.import_module(f"{__name__}.{area.name}")
        for module_info in pkgutil.iter_modules(package.__path__):
            name = module_info.name
            kind = _only_fault(f"{package.__name__}.{name}")
            if name in found:
                raise TypeError(f"two faults are called {name}; rename one")
            found[name] = kind
    return found


def area_of(kind: type[Fault]) -> str:
    """The area a fault belongs to: its package's name."""
    return kind.__module__.split(".")[-2]


def _only_fault(module_name: str) -> type[Fault]:
    module = importlib.import_module(module_name)
    own = [
        kind
        for _, kind in inspect.getmembers(module, inspect.isclass)
        if issubclass(kind, Fault) and kind.__module__ == module_name
    ]
    if len(own) != 1:
        raise TypeError(f"{module_name} holds {len(own)} faults; keep one in each module")
    return own[0]


__all__ = ["Disturbance", "Fault", "area_of", "catalogue"]
