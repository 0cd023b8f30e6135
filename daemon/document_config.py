"""Writes `docs/configuration.md`: `python -m daemon.document_config > docs/configuration.md`."""

import inspect
import re
import sys
from collections.abc import Iterator, Mapping
from enum import StrEnum
from pathlib import Path
from types import NoneType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from daemon.config import (
    ChannelSettings,
    ConfigFile,
    ControlSettings,
    ModbusLink,
    PretendSettings,
    RelaySettings,
    RigSettings,
    StoreSettings,
)
from daemon.notify.settings import MqttSettings
from drivers.modbus.registers import TcpSettings, PointSettings
from rules.channels import CHANNELS, OUTPUTS
from rules.facts import RigFacts
from rules.hazards import HAZARDS
from rules.hold import HoldLimits
from rules.permit import PermitLimits
from rules.phases import PhaseLimits

HEAD = """\
# Configuration

Generated from the models by `python -m daemon.document_config`; do not edit.

One TOML file, UTF-8. `deploy/curehold.example.toml` is a whole one to begin from.
`curehold check --config FILE` tells every mistake at once, each with file, key,
what is wrong and what would be right, and then reads every channel once;
`--offline` leaves the wires alone. A file with a mistake is not used at all: exit
status 2.

The unit is the end of a key's name: `_c` °C, `_kpa` kPa gauge, `_s` seconds,
`_min` minutes. Names of your own (site, links, rigs) are 1 to 24 small letters,
digits and hyphens. Relative paths count from the file's folder. There is no
reloading while running: a changed file counts from the next start, and the record
says from which frame on.

Defaults are starting points from common practice; where a source exists, the
module named beside the section says it. Data sheets, the tyre maker and local
codes come first.
"""
SUFFIXES = {
    "_kpa_per_h": "kPa/h",
    "_c_per_s": "°C/s",
    "_kpa": "kPa gauge",
    "_min": "min",
    "_m2": "m²",
    "_c": "°C",
    "_h": "h",
    "_m": "m",
    "_s": "s",
    "_s_max": "s",
    "_share": "share of 1",
}
OF_ENTRY: Mapping[str, tuple[str, ...]] = {
    "scale": ("unit per count",),
    "offset": ("channel's unit",),
    "range_low": ("channel's unit",),
    "range_high": ("channel's unit",),
    "open_at": ("counts",),
    "short_at": ("counts",),
}
BOUNDS = {"ge": "≥", "gt": ">", "le": "≤", "lt": "<"}
SIMPLE = {str: "text", int: "whole number", float: "number", bool: "true or false", Path: "path"}


def document() -> str:
    """The whole document."""
    return "\n".join(_lines()).rstrip() + "\n"


def _lines() -> Iterator[str]:
    yield HEAD
    yield from _section("The file", "", (ConfigFile,), leave=_tables_of(ConfigFile))
    yield from _section("`[store]`", "", (StoreSettings,))
    yield from _section("`[control]`", "", (ControlSettings,))
    yield from _section("`[mqtt]`", "Left out: nothing is sent to a broker.", (MqttSettings,))
    yield from _section("`[pretend]`", "Never for a real rig.", (PretendSettings,))
    about = "One section a link, under a name of your own. Two links may not have one address."
    yield from _section("`[links.NAME]`", about, (ModbusLink, TcpSettings))
    yield from _rig_sections()
    yield from _limit_sections()


def _rig_sections() -> Iterator[str]:
    yield "## `[rigs.NAME]`\n"
    about = (inspect.getdoc(RigSettings) or "").partition("\n")[0]
    yield f"{about} A section each for facts, limits, channels and outputs.\n"
    facts = "What you state about the rig and the job. Check each against plate and data sheet."
    yield from _section("`[rigs.NAME.facts]`", facts, (RigFacts,), level=3)
    yield "### `[rigs.NAME.channels.CHANNEL]`\n"
    yield (
        "What is fitted, one section a channel. A channel without a section is not fitted: it\n"
        "is not judged and shown as such, never taken for healthy. No two may read one register,\n"
        "but for `ambient_c`, `supply_kpa` and `mains_ok`, which rigs may share.\n"
    )
    yield from _channels()
    yield from _table((ChannelSettings, PointSettings))
    yield "### `[rigs.NAME.outputs.OUTPUT]`\n"
    yield (
        "What is fitted, one section an output. Without `heat_permit`, or without a\n"
        "`start_button` channel, the rig is watch-only: it is judged, and its heat is not cut.\n"
    )
    yield "Outputs: " + ", ".join(f"`{item.name}`" for item in OUTPUTS) + ".\n"
    yield from _table((RelaySettings,))


def _channels() -> Iterator[str]:
    yield "| channel | what | unit |"
    yield "|---|---|---|"
    for item in CHANNELS:
        yield f"| `{item.name}` | {item.title} | {item.unit or '0 or 1'} |"
    yield ""


def _limit_sections() -> Iterator[str]:
    yield "## `[rigs.NAME.limits....]`\n"
    yield (
        "Only what differs from the defaults. Limits are checked against each other and against\n"
        "the facts: a warning before its trip, every trip at least 5 °C below the cut-out, bands\n"
        "that do not cross, thresholds below what is set.\n"
    )
    for name, model, where in (
        ("phases", PhaseLimits, "rules/phases.py"),
        ("hold", HoldLimits, "rules/hold.py"),
        ("permit", PermitLimits, "rules/permit.py"),
    ):
        title = f"`[rigs.NAME.limits.{name}]`"
        yield from _section(title, f"Explained in `{where}`.", (model,), level=3)
    for hazard in HAZARDS:
        module = inspect.getmodule(hazard.limits_type)
        manual = inspect.getdoc(module) or ""
        about = (
            f"`{hazard.row.tag}`: {hazard.row.title}. "
            f"Explained in `rules/hazards/{hazard.name}.py`."
            f"\n\n{_part(manual, 'Limits')}"
        )
        title = f"`[rigs.NAME.limits.{hazard.name}]`"
        yield from _section(title, about, (hazard.limits_type,), level=3)


def _section(
    title: str,
    about: str,
    models: tuple[type[BaseModel], ...],
    *,
    level: int = 2,
    leave: frozenset[str] = frozenset(),
) -> Iterator[str]:
    """One section; later models only lend their docstrings."""
    yield f"{'#' * level} {title}\n"
    if about:
        yield about + "\n"
    yield from _table(models, leave=leave)


def _table(
    models: tuple[type[BaseModel], ...], *, leave: frozenset[str] = frozenset()
) -> Iterator[str]:
    meanings: dict[str, str] = {}
    for model in reversed(models):
        meanings |= _meanings(model)
    explained = any(meanings.values())
    yield "| key | unit | default | allowed |" + (" meaning |" if explained else "")
    yield "|---|---|---|---|" + ("---|" if explained else "")
    for name, field in models[0].model_fields.items():
        if name in leave:
            continue
        key = field.alias or name
        cells = [f"`{key}`", _unit(key), _default(field), _allowed(field)]
        if explained:
            cells.append(meanings.get(name) or meanings.get(key, ""))
        yield "| " + " | ".join(cells) + " |"
    yield ""


def _tables_of(model: type[BaseModel]) -> frozenset[str]:
    """Fields that have sections of their own."""
    return frozenset(model.model_fields) - {"site"}


def _meanings(model: type[BaseModel]) -> dict[str, str]:
    """What the docstring's `Attributes:` say, by field."""
    found: dict[str, str] = {}
    name = ""
    for line in _part(inspect.getdoc(model) or "", "Attributes").splitlines():
        begin = re.match(r"([a-z_0-9]+): (.+)", line)
        if begin:
            name = begin[1]
            found[name] = begin[2]
        elif name:
            found[name] += " " + line.strip()
    return {name: _for_people(text) for name, text in found.items()}


def _for_people(text: str) -> str:
    """A docstring's words without what only a programmer needs."""
    text = text.replace("None: ", "left out: ")
    return re.sub(r"; `register` in (a configuration|the file)", "", text)


def _part(docstring: str, heading: str) -> str:
    """The text under a heading of a docstring, dedented."""
    lines = docstring.splitlines()
    if f"{heading}:" not in lines:
        return ""
    taken = []
    for line in lines[lines.index(f"{heading}:") + 1 :]:
        if line and not line.startswith(" "):
            break
        taken.append(line)
    return inspect.cleandoc("\n".join(taken))


def _unit(key: str) -> str:
    if key in OF_ENTRY:
        return OF_ENTRY[key][0]
    fitting = [suffix for suffix in SUFFIXES if key.endswith(suffix)]
    return SUFFIXES[max(fitting, key=len)] if fitting else ""


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "must be given"
    value = field.get_default(call_default_factory=True)
    if value == RigFacts().title:
        return "the rig's NAME"  # `daemon.config` fills it in
    if value is None:
        return "not set"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return f"{value:g}" if isinstance(value, float) else str(value)
    return f'"{value}"'


def _allowed(field: FieldInfo) -> str:
    parts = [_kind(field.annotation)]
    for item in field.metadata:
        parts += [
            f"{sign} {getattr(item, name)}" for name, sign in BOUNDS.items() if hasattr(item, name)
        ]
        if getattr(item, "max_length", None):
            parts.append(f"up to {item.max_length} characters")
    return ", ".join(parts)


def _kind(annotation: Any) -> str:  # any type a field may have
    arguments = [item for item in get_args(annotation) if item is not NoneType]
    if get_origin(annotation) is Literal:
        return " or ".join(f'"{item}"' for item in arguments)
    if arguments:
        return _kind(arguments[0])
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return " or ".join(f'"{item.value}"' for item in annotation)
    return SIMPLE.get(annotation, "table")


if __name__ == "__main__":
    sys.stdout.write(document())
