"""Every hazard, one module each; adding one is adding its file and its cases.

Source:
    This project's design.
"""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from pydantic import BaseModel

from rules.hazards.base import Finding, Row
from rules.view import View

_HELPERS = frozenset({"base", "common", "lasting", "pins", "switched"})


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard as the step uses it.

    Attributes:
        name: the module's name, also the key of its limits.
        row: for the alarm table and the messages.
        limits_type: pydantic model of its limits.
        memory_type: dataclass of what it remembers; built without arguments.
        judge: the pure function that judges one frame.
    """

    name: str
    row: Row
    limits_type: type[BaseModel]
    memory_type: type[Any]
    judge: Callable[[Any, Any, View], tuple[Any, Finding]]


def discover() -> tuple[Hazard, ...]:
    """Every hazard module in this package, by name.

    Source:
        Own method.
    """
    names = sorted(item.name for item in iter_modules(__path__) if item.name not in _HELPERS)
    modules = [import_module(f"{__name__}.{name}") for name in names]
    return tuple(
        Hazard(name, module.ROW, module.Limits, module.Memory, module.judge)
        for name, module in zip(names, modules, strict=True)
    )


HAZARDS = discover()
BY_TAG = {hazard.row.tag: hazard for hazard in HAZARDS}
