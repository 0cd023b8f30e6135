"""Descriptions of modules: what their registers mean, as data, filled into a configuration.

A description is a TOML file: one that comes with this program, in `modules/`,
or one of your own. Whatever an entry of the configuration says itself goes
before its module's description.
"""

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from drivers.modbus.registers import Numbered, PlaceSettings

OURS = Path(__file__).with_name("modules")
OWN_SUFFIX = ".toml"
# Tables of an entry that say where something else of the same module is read.
PLACES_BESIDE = ("cold_junction", "condition")

_STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

Table = Mapping[str, Any]


class InputDescription(PlaceSettings):
    """One value the module has.

    Attributes:
        cold_junction: the input that reads the temperature of its terminals, °C.
        sensor: what the configuration's `sensor` table begins with.
    """

    cold_junction: str | None = None
    sensor: dict[str, Any] | None = None

    def keys(self) -> dict[str, Any]:
        """Where it is read, as a configuration would say it."""
        own = {"cold_junction", "sensor"}
        return self.model_dump(by_alias=True, exclude_unset=True, exclude=own)


class WatchdogDescription(Numbered):
    """The module's communication time-out, after which it opens its outputs.

    Attributes:
        counts_per_s: counts of its holding register that make one second.
    """

    counts_per_s: float = Field(gt=0, le=1000)


class ModuleDescription(BaseModel):
    """One kind of module.

    Attributes:
        title: for people.
        about: what it is and where the numbers come from.
        answer_s: how long it takes before its answer begins, s.
        inputs: what can be read, by name.
        outputs: coils that can be written, by name.
        watchdog: its communication time-out, if it has one.
    """

    model_config = _STRICT

    title: str = Field(min_length=1, max_length=100)
    about: str = Field(min_length=1, max_length=4000)
    answer_s: float = Field(default=0.01, ge=0, le=1)
    inputs: dict[str, InputDescription] = Field(default_factory=dict)
    outputs: dict[str, Numbered] = Field(default_factory=dict)
    watchdog: WatchdogDescription | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if not self.inputs and not self.outputs:
            raise ValueError("inputs and outputs are both missing; describe at least one")
        for name, described in self.inputs.items():
            other = described.cold_junction
            if other is not None and (other not in self.inputs or other == name):
                raise ValueError(
                    f"inputs.{name}.cold_junction = {other!r} is no other input; "
                    f"{meant(other, self.inputs.keys() - {name})}"
                )
        return self

    def unit_keys(self) -> dict[str, Any]:
        """What the configuration's table of such a unit gets from here."""
        found: dict[str, Any] = {"answer_s": self.answer_s}
        if self.watchdog is not None:
            found["watchdog_register"] = self.watchdog.number
            found["watchdog_counts_per_s"] = self.watchdog.counts_per_s
        return found


@cache
def load_module(name: str, folder: Path) -> ModuleDescription:
    """The description of one kind of module; read once.

    Args:
        name: of one that comes with this program, or a path that ends in .toml.
        folder: from which such a path is seen.

    Raises:
        ValueError: none, or a wrong one; with the file, the key and what to do.
    """
    own = name.endswith(OWN_SUFFIX)
    if not own and name not in our_modules():
        raise ValueError(
            f"module = {name!r}: no such module; {meant(name, our_modules())}, or a path that ends "
            "in .toml to a description of your own"
        )
    path = folder / name if own else OURS / f"{name}{OWN_SUFFIX}"
    try:
        return ModuleDescription.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as error:
        raise ValueError(
            f"module = {name!r}: {path} cannot be read ({error.strerror}); correct the path, it is "
            "seen from the configuration's folder"
        ) from error
    except ValidationError as error:
        told = "; ".join(map(_words, error.errors(include_url=False)))
        raise ValueError(f"module = {name!r}: {path}: {told}") from error
    except (ValueError, RecursionError) as error:  # also bytes that are no UTF-8
        raise ValueError(f"module = {name!r}: {path}: not TOML: {error}; mend it") from error


def our_modules() -> list[str]:
    """Names of the descriptions that come with this program."""
    return sorted(path.stem for path in OURS.glob(f"*{OWN_SUFFIX}"))


def fill_in_link(link: Table, folder: Path) -> dict[str, Any]:
    """A link's table, its units completed by the descriptions of their modules.

    Args:
        link: as read; what is wrong in it otherwise stays for its model to tell.
        folder: from which paths of descriptions are seen.

    Raises:
        ValueError: descriptions that cannot be used, all of them.
    """
    units = link.get("units")
    if not isinstance(units, Mapping):
        return dict(link)
    filled: dict[str, Any] = dict(units)
    faults = []
    for key, unit in units.items():
        if (name := _module_name(unit)) is not None:
            try:
                filled[key] = load_module(name, folder).unit_keys() | dict(unit)
            except ValueError as error:
                faults.append(f"units.{key}: {error}")
    if faults:
        raise ValueError("; and ".join(faults))
    return {**link, "units": filled}


def fill_in(link: Table, entry: Table, folder: Path) -> dict[str, Any]:
    """The table of a point or output, completed by the description of its module.

    An entry asks for that by `input` or `output`, the name within its module;
    one without is given back as it is. `sensor` is joined key by key, and
    `cold_junction` becomes the place where that is read. Both may name an
    `input` of a module too, as may `condition`; without a `unit`, of the same.

    Args:
        link: the table of its link, as read.
        entry: its own table, as read.
        folder: from which paths of descriptions are seen.

    Raises:
        ValueError: what cannot be filled in, and what would be right.
    """
    filled = dict(entry)
    for key in PLACES_BESIDE:
        if isinstance(beside := entry.get(key), Mapping) and _asked(beside):
            filled[key] = fill_in(link, {"unit": entry.get("unit")} | dict(beside), folder)
    asked = _asked(entry)
    if asked is None:
        return filled
    described = _described(link, filled, asked, folder)
    del filled[asked]
    for key, value in described.items():
        own = filled.get(key)
        if key == "sensor" and isinstance(own, Mapping):
            filled[key] = {**value, **own}
        else:
            filled.setdefault(key, value)
    return filled


def _asked(entry: Table) -> str | None:
    asked = [key for key in ("input", "output") if key in entry]
    if len(asked) == 2:
        raise ValueError("input and output: give the one that it is, remove the other")
    return asked[0] if asked else None


def _described(link: Table, entry: Table, asked: str, folder: Path) -> dict[str, Any]:
    """What the module's description says of the input or output asked for."""
    unit, name = entry.get("unit"), entry[asked]
    module = _module(link, unit, asked, folder)
    known: Mapping[str, Numbered] = module.inputs if asked == "input" else module.outputs
    if not isinstance(name, str) or name not in known:
        raise ValueError(
            f"{asked} = {name!r}: unit {unit}, {module.title}, has no such {asked}; "
            f"{meant(str(name), known)}"
        )
    described = known[name]
    if not isinstance(described, InputDescription):
        return described.model_dump(by_alias=True)
    found = described.keys()
    if described.cold_junction is not None:
        found["cold_junction"] = {"unit": unit} | module.inputs[described.cold_junction].keys()
    if described.sensor is not None:
        found["sensor"] = dict(described.sensor)  # the description itself is shared
    return found


def _module(link: Table, unit: object, asked: str, folder: Path) -> ModuleDescription:
    if unit is None:
        raise ValueError(f"{asked} needs unit, the address of its module; give it")
    units = link.get("units")
    name = _module_name(units.get(str(unit))) if isinstance(units, Mapping) else None
    if name is None:
        raise ValueError(
            f"{asked} is a name within a module, and its link names no module for unit {unit}; "
            f'add module = "..." to the link\'s table units.{unit}, or give table and register '
            f"instead of {asked}"
        )
    try:
        return load_module(name, folder)
    except ValueError as error:
        raise ValueError(
            f"{asked}: the description of unit {unit} cannot be used; see units.{unit} of its link"
        ) from error


def _module_name(unit: object) -> str | None:
    name = unit.get("module") if isinstance(unit, Mapping) else None
    return name if isinstance(name, str) else None  # its model tells what else it is


def meant(name: str, known: Iterable[str]) -> str:
    """What was probably meant: the nearest names, or all there are."""
    names = sorted(known)
    near = difflib.get_close_matches(name, names, n=3)
    if near:
        return f"did you mean {' or '.join(map(repr, near))}"
    return f"give one of {', '.join(map(repr, names))}" if names else "it has none"


def _words(item: Any) -> str:  # one of pydantic's own dicts
    key = ".".join(map(str, item["loc"]))
    message = str(item["msg"]).removeprefix("Value error, ")
    match item["type"]:
        case "missing":
            return f"{key}: missing; add it"
        case "extra_forbidden":
            return f"{key}: no such key; remove it"
        case "value_error":
            return f"{key}: {message}" if key else message
    return f"{key} = {item['input']!r:.60}: {message}"
