"""Writes `docs/configuration.md`: `python -m daemon.document_config > docs/configuration.md`."""

import inspect
import re
import sys
from collections.abc import Iterator, Mapping
from enum import StrEnum
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from daemon.config import (
    ConfigFile,
    ControlSettings,
    PretendSettings,
    RigSettings,
    StoreSettings,
)
from daemon.notify.settings import MqttSettings
from drivers.kinds import kinds
from drivers.sensors import SENSORS, ConditionSettings, CorrectionSettings
from rules.air import AirLimits
from rules.alarms import AlarmLimits
from rules.channels import CHANNELS, OUTPUTS
from rules.facts import RigFacts
from rules.hazards import HAZARDS
from rules.hold import HoldLimits
from rules.permit import PermitLimits
from rules.phases import PhaseLimits
from rules.trust import TrustLimits
from rules.usual import UsualTimes

HEAD = """\
# Configuration

Generated from the models by `python -m daemon.document_config`; do not edit.

One TOML file, UTF-8. `deploy/curehold.example.toml` is a whole one to begin from, for
modules on the network; `deploy/curehold.bus.example.toml` has a serial bus and a board.
`curehold check --config FILE` tells every mistake at once, each with file, key,
what is wrong and what would be right, and then reads every channel once;
`--offline` leaves the wires alone. A file with a mistake is not used at all: exit
status 2.

The unit is the end of a key's name: `_c` °C, `_kpa` kPa gauge, `_s` seconds,
`_min` minutes. Names of your own (site, links, rigs) are 1 to 24 small letters,
digits and hyphens. Relative paths count from the file's folder. There is no
reloading while running: a changed file counts from the next start, and the record
says from which frame on.

| to say | look for |
|---|---|
| how a wire is reached, and how often it is read | `[links.NAME]` with the wire's `kind` |
| what a module on a bus is | `[links.NAME.units.ADDRESS]` |
| rig, bags, set points, time at temperature | `[rigs.NAME.facts]` |
| where a value or a switch is read | `[rigs.NAME.channels.CHANNEL]`, then its part for the `kind` |
| what mV, ohm, mA or V mean | `.sensor` and `.cold_junction` below the channel |
| how an instrument tells its state | `.condition` below the channel |
| what was seen when a sensor was compared | `.correction` below the channel |
| where a relay, a lamp, the horn is | `[rigs.NAME.outputs.OUTPUT]`, then its part for the `kind` |
| when something is told, or heat goes | `[rigs.NAME.limits....]`, one section a hazard |

Defaults are starting points from common practice; where a source exists, the
module named beside the section says it. Data sheets, the tyre maker and local
codes come first.
"""
SUFFIXES = {
    "_per_s": "1/s",
    "_per_s_max": "1/s",
    "_kpa_per_h": "kPa/h",
    "_c_per_s": "°C/s",
    "_kpa": "kPa gauge",
    "_mb": "MB",
    "_min": "min",
    "_m2": "m²",
    "_c": "°C",
    "_h": "h",
    "_m": "m",
    "_ms": "ms",
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
    yield from _link_sections()
    yield from _rig_sections()
    yield from _limit_sections()


def _link_sections() -> Iterator[str]:
    yield "## `[links.NAME]`\n"
    yield (
        "One section a link, under a name of your own: one port or socket, for any number of\n"
        "rigs. Two links may not have one address. `kind` says what it is; the other keys\n"
        "depend on it. `hold_s` is never above 3 s here, the longest gap that the rules let\n"
        "pass.\n"
    )
    yield "| `kind` | what |"
    yield "|---|---|"
    for name, kind in kinds().items():
        yield f"| `{name}` | {kind.title} |"
    yield ""
    for name, kind in kinds().items():
        yield from _section(
            f'`[links.NAME]` with `kind = "{name}"`',
            "",
            _with_parents(kind.settings),
            level=3,
            leave=frozenset(_tables_in(kind.settings)),
        )
    for (table, model), words in _shared_by(
        {name: tuple(_tables_in(kind.settings).items()) for name, kind in kinds().items()}
    ):
        title = f"`[links.NAME.{table}.ADDRESS]` on a link of kind {words}"
        yield from _section(title, _first_line(model), (model,), level=3)


def _rig_sections() -> Iterator[str]:
    yield "## `[rigs.NAME]`\n"
    yield f"{_first_line(RigSettings)} A section each for facts, limits, channels and outputs.\n"
    facts = "What you state about the rig and the job. Check each against plate and data sheet."
    yield from _section("`[rigs.NAME.facts]`", facts, (RigFacts,), level=3)
    yield "### `[rigs.NAME.channels.CHANNEL]`\n"
    yield (
        "What is fitted, one section a channel. A channel without a section is not fitted: it\n"
        "is not judged and shown as such, never taken for healthy. No two may read one place,\n"
        "but for `ambient_c`, `supply_kpa` and `mains_ok`, which rigs may share. `link` names\n"
        "the link; the other keys depend on its kind. A switch must come as 0 or 1: any other\n"
        "number is bad.\n"
    )
    yield from _channels()
    yield from _place_sections("channels.CHANNEL", {n: k.point for n, k in kinds().items()})
    yield from _sensor_sections()
    yield "### `[rigs.NAME.outputs.OUTPUT]`\n"
    yield (
        "What is fitted, one section an output. Without `heat_permit`, or without a\n"
        "`start_button` channel, the rig is watch-only: it is judged, and its heat is not cut.\n"
        "`link` names the link; the other keys depend on its kind.\n"
    )
    yield "Outputs: " + ", ".join(f"`{item.name}`" for item in OUTPUTS) + ".\n"
    yield from _place_sections("outputs.OUTPUT", {n: k.output for n, k in kinds().items()})


def _place_sections(table: str, models: Mapping[str, type[BaseModel] | None]) -> Iterator[str]:
    """Where things are on each kind of link; kinds with the same model share a section."""
    for model, words in _shared_by({n: (m,) for n, m in models.items() if m is not None}):
        title = f"`[rigs.NAME.{table}]` on a link of kind {words}"
        parents = _with_parents(model)
        yield from _section(title, "", parents, level=4, leave=frozenset({"token"}))


T = TypeVar("T")


def _shared_by(things: Mapping[str, tuple[T, ...]]) -> list[tuple[T, str]]:
    """Each thing once, with the kinds that have it, in words."""
    kinds_of: dict[T, list[str]] = {}
    for kind, found in things.items():
        for thing in found:
            kinds_of.setdefault(thing, []).append(f"`{kind}`")
    return [(thing, " or ".join(names)) for thing, names in kinds_of.items()]


def _sensor_sections() -> Iterator[str]:
    yield "### `[rigs.NAME.channels.CHANNEL.sensor]`\n"
    yield (
        "For a channel whose link gives a signal (mV, ohm, mA, V) and not yet the value. Left\n"
        "out: what the link gives is the value. Explained in `docs/sensors.md`.\n"
    )
    for signal, model in SENSORS.items():
        yield from _section(
            f'`signal = "{signal}"`', _first_line(model), _with_parents(model), level=4
        )
    yield "### `[rigs.NAME.channels.CHANNEL.cold_junction]`\n"
    yield (
        "For thermocouples: where on the same link the temperature of the terminals is read,\n"
        "°C; the keys are those of a channel on that link, without `link`.\n"
    )
    about = (
        "Where on the same link the instrument says how it is (NAMUR NE 107); the keys of a\n"
        "channel on that link, without `link`, and these."
    )
    title = "`[rigs.NAME.channels.CHANNEL.condition]`"
    yield from _section(title, about, (ConditionSettings,), level=3)
    title = "`[rigs.NAME.channels.CHANNEL.correction]`"
    yield from _section(title, _first_line(CorrectionSettings), (CorrectionSettings,), level=3)


def _first_line(model: type[BaseModel]) -> str:
    return (inspect.getdoc(model) or "").partition("\n")[0]


def _with_parents(model: type[BaseModel]) -> tuple[type[BaseModel], ...]:
    """A model, and those it inherits from, whose docstrings explain the rest of its keys."""
    parents = [item for item in model.__mro__ if issubclass(item, BaseModel)]
    return tuple(item for item in parents if item is not BaseModel)


def _tables_in(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Keys of a model that hold tables of models by a key."""
    found = {}
    for name, entry in model.model_fields.items():
        for part in get_args(entry.annotation):
            if isinstance(part, type) and issubclass(part, BaseModel):
                found[name] = part
    return found


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
        "that do not cross, thresholds below what is set. `calibrations` is filled in from the\n"
        "channels' own tables (`correction`), so that every frame names what it was read with.\n"
    )
    for name, model, where in (
        ("phases", PhaseLimits, "rules/phases.py"),
        ("hold", HoldLimits, "rules/hold.py"),
        ("permit", PermitLimits, "rules/permit.py"),
        ("trust", TrustLimits, "rules/trust.py"),
        ("air", AirLimits, "rules/air.py"),
        ("alarms", AlarmLimits, "rules/alarms.py"),
        ("usual", UsualTimes, "rules/usual.py"),
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
    if get_origin(annotation) in (Union, UnionType):
        return " or ".join(dict.fromkeys(_kind(item) for item in arguments))
    if arguments:
        return _kind(arguments[0])
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return " or ".join(f'"{item.value}"' for item in annotation)
    return SIMPLE.get(annotation, "table")


if __name__ == "__main__":
    sys.stdout.write(document())
