"""Links, channels and outputs of a configuration, each judged by the kind of its link."""

import itertools
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from daemon.config_faults import meant, model_faults, shown
from drivers.base import LinkKind
from drivers.kinds import kinds
from drivers.sensors import (
    ONLY_DEGREES,
    SENSORS,
    SIGNAL_UNITS,
    ConditionSettings,
    CorrectionSettings,
    SensorSettings,
    ThermocoupleSettings,
)
from rules.channels import BY_NAME, OUTPUTS_BY_NAME, Channel, Kind

# The rules let a gap of this length pass; heat may not outlive it.
HOLD_S_MAX = 3.0
# One sensor of the room may serve several rigs; all else is a rig's own.
SHARED = frozenset({"ambient_c", "supply_kpa", "mains_ok"})
GROUPS: Mapping[str, Mapping[str, object]] = {"channels": BY_NAME, "outputs": OUTPUTS_BY_NAME}
# Lamps and horn call for people: they work all the same where the module's own
# communication time-out does not stand.
GUARDED = frozenset({"heat_permit", "release_permit"})
# Tables within a channel that are not part of where it is read.
PARTS = ("sensor", "cold_junction", "condition", "correction")

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LinkConfig:
    """One link.

    Attributes:
        kind: what it is.
        settings: of the kind's own model.
    """

    kind: LinkKind
    settings: Any


@dataclass(frozen=True, slots=True)
class ChannelConfig:
    """One channel: where its signal is read and what becomes of it.

    Attributes:
        link: name of the link.
        point: where on the link, of the kind's own model.
        sensor: what makes a value of the signal; None: it is one already.
        cold_junction: where the terminals' temperature is read, °C.
        condition: how the instrument's own state is to be read.
        condition_point: where.
        correction: what a person observed at the last calibration.
    """

    link: str
    point: Any
    sensor: SensorSettings | None = None
    cold_junction: Any = None
    condition: ConditionSettings | None = None
    condition_point: Any = None
    correction: CorrectionSettings | None = None


@dataclass(frozen=True, slots=True)
class OutputConfig:
    """One output.

    Attributes:
        link: name of the link.
        output: where on the link, of the kind's own model.
    """

    link: str
    output: Any


@dataclass(slots=True)
class Wiring:
    """What could be made of a file's links and of what is fitted, and what could not.

    Attributes:
        links: by name; those that are right.
        channels: by rig and channel; those that are right.
        outputs: by rig and output; those that are right.
        faults: every mistake, with its key.
    """

    links: dict[str, LinkConfig] = field(default_factory=dict)
    channels: dict[tuple[str, str], ChannelConfig] = field(default_factory=dict)
    outputs: dict[tuple[str, str], OutputConfig] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def points(self, link: str) -> dict[str, Any]:
        """What a link reads, by `rig/channel`, and what belongs to it after a dot."""
        found: dict[str, Any] = {}
        for (rig, name), channel in self.channels.items():
            if channel.link == link:
                found |= points_of(f"{rig}/{name}", channel)
        return found

    def outputs_of(self, link: str) -> dict[str, Any]:
        """What a link writes, by `rig/output`; the rig's name is its token."""
        return {
            f"{rig}/{name}": output.output
            for (rig, name), output in self.outputs.items()
            if output.link == link
        }


def points_of(key: str, channel: ChannelConfig) -> dict[str, Any]:
    """The points of one channel: itself under `key`, and what belongs to it."""
    found = {
        key: channel.point,
        f"{key}.cold_junction": channel.cold_junction,
        f"{key}.condition": channel.condition_point,
    }
    return {name: point for name, point in found.items() if point is not None}


def wired(links: Mapping[str, Table], rigs: Mapping[str, Table], folder: Path) -> Wiring:
    """Judge links, channels and outputs of a parsed file.

    Args:
        links: tables by name.
        rigs: tables by name.
        folder: where descriptions of modules are looked for.
    """
    made = Wiring()
    for name, table in links.items():
        made.faults += _wire_link(made, name, table, folder)
    for rig, group, name, table in _entries(rigs):
        made.faults += _wire_entry(made, (rig, group, name), table, links, folder)
    made.faults += _doubled_links(made)
    made.faults += _doubled_places(made, links)
    if not made.faults:  # sums over a link need all of it
        for name, link in made.links.items():
            told = link.kind.faults(link.settings, made.points(name), made.outputs_of(name))
            made.faults += [f"links.{name}: {fault}" for fault in told]
    return made


def _entries(rigs: Mapping[str, Table]) -> Iterator[tuple[str, str, str, dict[str, Any]]]:
    for rig, settings in rigs.items():
        for group in GROUPS:
            entries = settings.get(group)
            for name, entry in (entries if isinstance(entries, dict) else {}).items():
                if isinstance(entry, dict):
                    yield rig, group, name, entry


def _wire_link(made: Wiring, name: str, table: Table, folder: Path) -> list[str]:
    where = f"links.{name}"
    kind = _kind(table)
    if kind is None:
        return [f"{where}.kind{shown(table.get('kind'))}: {meant(table.get('kind'), kinds())}"]
    try:
        filled = kind.fill_in_link(_without(table, "kind"), folder)
    except ValueError as error:
        return [f"{where}: {error}"]
    found = list(model_faults(kind.settings, filled, where))
    hold_s = filled.get("hold_s")
    if isinstance(hold_s, int | float) and HOLD_S_MAX < hold_s <= 10 * HOLD_S_MAX:
        found.append(f"{where}.hold_s = {hold_s:g}: give at most {HOLD_S_MAX:g}")
    if not found:
        made.links[name] = LinkConfig(kind, kind.settings.model_validate(filled))
    return found


def _kind(table: Table) -> LinkKind | None:
    word = table.get("kind")
    return kinds().get(word) if isinstance(word, str) else None


def hold_of(table: Table) -> object:
    """A link's `hold_s` as written, or its kind's default; None for a kind without."""
    kind = _kind(table)
    known = kind.settings.model_fields.get("hold_s") if kind is not None else None
    return table.get("hold_s", known.default if known is not None else None)


def _without(table: Table, *keys: str) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in keys}


def _wire_entry(
    made: Wiring,
    place: tuple[str, str, str],
    table: dict[str, Any],
    links: Mapping[str, Table],
    folder: Path,
) -> list[str]:
    rig, group, name = place
    where = f"rigs.{rig}.{group}.{name}"
    link = table.get("link")
    if "link" not in table:
        return [f"{where}.link: missing; add it, docs/configuration.md says what it is"]
    if not isinstance(link, str):
        return [f"{where}.link{shown(link)}: give text in quotes"]
    if link not in links:
        given = ", ".join(links) or "the links, once there are some"
        return [f"{where}.link = {link!r}: no such link; give one of {given}"]
    kind = _kind(links[link])
    if kind is None:
        return []  # told at the link
    if group == "outputs" and kind.output is None:
        return [f"{where}: link {link} only reads; put outputs on a link that can write"]
    try:
        filled = kind.fill_in(links[link], _without(table, "link"), folder)
    except ValueError as error:
        return [f"{where}: {error}"]
    if group == "outputs":
        return _wire_output(made, (rig, name), where, link, kind, filled)
    return _wire_channel(made, (rig, name), where, link, kind, filled)


def _wire_output(
    made: Wiring,
    key: tuple[str, str],
    where: str,
    link: str,
    kind: LinkKind,
    filled: dict[str, Any],
) -> list[str]:
    assert kind.output is not None  # noqa: S101  # the caller looked
    if "token" in filled:
        return [f"{where}.token: no such key; remove it"]
    whole = {**filled, "token": key[0]}
    if "guarded" in kind.output.model_fields and key[1] not in GUARDED:
        whole.setdefault("guarded", False)
    found = list(model_faults(kind.output, whole, where))
    if not found:
        made.outputs[key] = OutputConfig(link, kind.output.model_validate(whole))
    return found


def _wire_channel(
    made: Wiring,
    key: tuple[str, str],
    where: str,
    link: str,
    kind: LinkKind,
    filled: dict[str, Any],
) -> list[str]:
    found: list[str] = []

    def read(model: type[BaseModel], table: object, below: str = "") -> Any:  # the model's own
        if not isinstance(table, dict):
            found.append(f"{where}{below}{shown(table)}: give a table in [brackets]")
            return None
        told = list(model_faults(model, table, where + below))
        found.extend(told)
        return None if told else model.model_validate(table)

    parts = {name: filled[name] for name in PARTS if name in filled}
    made_of = {"point": read(kind.point, _without(filled, *PARTS))}
    if "cold_junction" in parts:
        made_of["cold_junction"] = read(kind.point, parts["cold_junction"], ".cold_junction")
    if "correction" in parts:
        made_of["correction"] = read(CorrectionSettings, parts["correction"], ".correction")
    if "sensor" in parts:
        signal = parts["sensor"].get("signal") if isinstance(parts["sensor"], dict) else None
        model = SENSORS.get(signal) if isinstance(signal, str) else None
        if model is None:
            found.append(f"{where}.sensor.signal{shown(signal)}: {meant(signal, SENSORS)}")
        else:
            made_of["sensor"] = read(model, parts["sensor"], ".sensor")
    if isinstance(parts.get("condition"), dict):
        own = ConditionSettings.model_fields
        lists = {name: value for name, value in parts["condition"].items() if name in own}
        made_of["condition"] = read(ConditionSettings, lists, ".condition")
        place = _without(parts["condition"], *own)
        made_of["condition_point"] = read(kind.point, place, ".condition")
    elif "condition" in parts:
        read(ConditionSettings, parts["condition"], ".condition")
    if not found:
        channel = ChannelConfig(link, **made_of)
        found += _cold_junction_faults(where, channel)
        found += _meaningless(where, channel, BY_NAME.get(key[1]))
        made.channels[key] = channel
    return found


def _cold_junction_faults(where: str, channel: ChannelConfig) -> Iterator[str]:
    needed = isinstance(channel.sensor, ThermocoupleSettings)
    if needed and channel.cold_junction is None:
        yield (
            f"{where}.cold_junction: missing; a thermocouple's millivolts say nothing without the "
            "temperature of its terminals, give the place where that is read"
        )
    if not needed and channel.cold_junction is not None:
        yield (
            f"{where}.cold_junction: only for a sensor with signal = 'thermocouple'; remove it, or "
            "add the sensor"
        )


def _meaningless(where: str, channel: ChannelConfig, known: Channel | None) -> Iterator[str]:
    """Parts that cannot give what the channel is, or not in its unit."""
    if known is None:  # told elsewhere
        return
    if known.kind is Kind.SWITCH:
        for part in ("sensor", "correction"):
            if getattr(channel, part) is not None:
                yield (
                    f"{where}.{part}: a switch is on or off, nothing in it can be converted or "
                    "corrected; remove it, or read the switch at another place"
                )
        return
    wanted = known.unit
    if channel.sensor is not None:
        signal = channel.sensor.signal
        if signal in ONLY_DEGREES and known.unit != "°C":
            yield (
                f"{where}.sensor.signal = {signal!r}: gives °C and this channel is in "
                f"{known.unit}; correct signal"
            )
        wanted = SIGNAL_UNITS[signal]
    yield from _wrong_unit(where, channel.point, wanted)
    yield from _wrong_unit(f"{where}.cold_junction", channel.cold_junction, "°C")


def _wrong_unit(where: str, point: Any, wanted: str) -> Iterator[str]:
    """Where a kind knows in what unit a point comes, and it is not what is wanted."""
    gives = getattr(point, "gives", "")
    if gives and gives != wanted:
        yield (
            f"{where}: what is read there is in {gives} and {wanted} is wanted; correct the place, "
            f"or give scale, {wanted} per {gives}"
        )


def _doubled_links(made: Wiring) -> Iterator[str]:
    """Two links to one module would not see that they share it."""
    addresses = {name: link.kind.address(link.settings) for name, link in made.links.items()}
    for (one, first), (other, second) in itertools.combinations(addresses.items(), 2):
        if first == second:
            yield (
                f"links.{other}: the same address as links.{one}; "
                "one link serves any number of rigs, keep one"
            )


def _doubled_places(made: Wiring, links: Mapping[str, Table]) -> Iterator[str]:
    """What two entries claim, also where they only overlap."""
    taken: dict[Hashable, tuple[str, str, str]] = {}
    for here, link, place in _places(made):
        kind = _kind(links[link])
        assert kind is not None  # noqa: S101  # or there would be no such place
        others = [taken.setdefault((link, claim), here) for claim in kind.claims(place)]
        for other in dict.fromkeys(item for item in others if item != here):
            rig, _, name = here
            if name == other[2] and rig != other[0] and name in SHARED:
                continue
            yield (
                f"rigs.{'.'.join(here)}: the same place as rigs.{'.'.join(other)} "
                f"(link {link}, {kind.place(place)}); give each its own"
            )


def _places(made: Wiring) -> Iterator[tuple[tuple[str, str, str], str, Any]]:
    for (rig, name), channel in made.channels.items():
        yield (rig, "channels", name), channel.link, channel.point
    for (rig, name), output in made.outputs.items():
        yield (rig, "outputs", name), output.link, output.output
