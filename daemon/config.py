"""The configuration: one TOML file, strict, with every mistake told at once."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from daemon.config_faults import model_faults, printable, unknown_names
from daemon.notify.settings import MqttSettings
from daemon.notify.topics import RESERVED
from daemon.wiring import (
    GROUPS,
    ChannelConfig,
    LinkConfig,
    OutputConfig,
    Wiring,
    hold_of,
    wired,
)
from drivers.base import Clock, Link
from rules.calibration import Calibration
from rules.channels import BUTTONS, PADS
from rules.facts import Pads
from rules.limits import Limits, LimitsBase

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,23}$")]
FILE_BYTES_MAX = 1_000_000
TITLE_CHARACTERS_MAX = 20
PADS_STATED = {
    Pads.BOTH.value: PADS,
    Pads.INNER_ONLY.value: PADS[:1],
    Pads.OUTER_ONLY.value: PADS[1:],
}


class ConfigError(Exception):
    """The configuration cannot be used; whoever wrote it can mend it.

    Attributes:
        faults: every mistake found, each with file, key, what is wrong and
            what would be right.
    """

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


class StoreSettings(BaseModel):
    """Where records are kept.

    Attributes:
        path: the SQLite file.
        outbox_rows_max: messages kept for a broker that is away.
        waiting_frames_max: frames kept in memory while the store fails.
    """

    model_config = STRICT

    path: Path = Field(default=Path("/var/lib/curehold/curehold.db"), strict=False)
    outbox_rows_max: int = Field(default=100_000, ge=100, le=10_000_000)
    waiting_frames_max: int = Field(default=36_000, ge=100, le=1_000_000)


class ControlSettings(BaseModel):
    """The local socket for the command line.

    Attributes:
        socket: its path.
    """

    model_config = STRICT

    socket: Path = Field(default=Path("/run/curehold/control.sock"), strict=False)


class PretendSettings(BaseModel):
    """A pretend plant that keeps the time; never for a real rig.

    Attributes:
        host: where it keeps time; this computer only.
        port: TCP port of its time.
    """

    model_config = STRICT

    host: Literal["127.0.0.1", "::1"] = "127.0.0.1"
    port: int = Field(ge=1, le=65535)


class RigSettings(BaseModel):
    """One rig.

    Attributes:
        facts: what the owner states; see `rules.facts.RigFacts`.
        limits: limits that differ from the defaults.
        channels: what is fitted, by channel name; see `daemon.wiring`.
        outputs: what is fitted, by output name; see `daemon.wiring`.
    """

    model_config = STRICT

    facts: dict[str, Any] = Field(default_factory=dict)
    limits: dict[str, Any] = Field(default_factory=dict)
    channels: dict[str, dict[str, Any]] = Field(min_length=1)
    outputs: dict[str, dict[str, Any]] = Field(default_factory=dict)


class ConfigFile(BaseModel):
    """The file as written.

    Attributes:
        site: name of the site in topics.
        store: where records are kept.
        control: the local socket.
        mqtt: the broker; left out: none.
        pretend: a simulated plant that keeps the time; left out: a real one.
        links: how modules are reached, by a name of your own.
        rigs: by a name of your own, as in topics and on the command line.
    """

    model_config = STRICT

    site: Name
    store: StoreSettings = StoreSettings()
    control: ControlSettings = ControlSettings()
    mqtt: MqttSettings | None = None
    pretend: PretendSettings | None = None
    links: dict[Name, dict[str, Any]] = Field(min_length=1)
    rigs: dict[Name, RigSettings] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class RigConfig:
    """One rig, ready to be supervised.

    Attributes:
        name: as in topics and on the command line.
        limits: facts, limits and what was observed at calibrations.
        channels: where each fitted channel is read.
        outputs: where each fitted output is written.
    """

    name: str
    limits: LimitsBase
    channels: Mapping[str, ChannelConfig]
    outputs: Mapping[str, OutputConfig]


@dataclass(frozen=True, slots=True)
class Config:
    """The whole configuration, checked.

    Attributes:
        site: name of the site in topics.
        store: where records are kept.
        control: the local socket.
        mqtt: the broker, or None.
        pretend: the pretend plant that keeps the time, or None.
        wiring: links, and what is read and written over them.
        rigs: in the order of the file.
    """

    site: str
    store: StoreSettings
    control: ControlSettings
    mqtt: MqttSettings | None
    pretend: PretendSettings | None
    wiring: Wiring
    rigs: tuple[RigConfig, ...]

    @property
    def links(self) -> Mapping[str, LinkConfig]:
        """Links by name."""
        return self.wiring.links

    def points(self, link: str) -> Mapping[str, Any]:
        """What a link reads; see `Wiring.points`."""
        return self.wiring.points(link)

    def outputs(self, link: str) -> Mapping[str, Any]:
        """What a link writes; see `Wiring.outputs_of`."""
        return self.wiring.outputs_of(link)

    def open_links(self, clock: Clock) -> dict[str, Link]:
        """A new link for each of the configuration's; connects when first used."""
        return {
            name: link.kind.open(name, link.settings, self.points(name), self.outputs(name), clock)
            for name, link in self.links.items()
        }


def load(path: Path) -> Config:
    """Read and check a configuration.

    Args:
        path: the TOML file; relative paths in it count from its folder.

    Raises:
        ConfigError: with every mistake found.
    """
    raw = _read(path)
    wiring, found = _judged(raw, path.resolve().parent)
    if found:
        raise ConfigError([f"{path.name}: {fault}" for fault in found])
    file = ConfigFile.model_validate(raw)
    folder = path.resolve().parent
    return Config(
        file.site,
        StoreSettings(**{**dict(file.store), "path": folder / file.store.path}),
        ControlSettings(socket=folder / file.control.socket),
        file.mqtt and file.mqtt.model_copy(update=_beside(file.mqtt, folder)),
        file.pretend,
        wiring,
        tuple(_rig(name, rig, wiring) for name, rig in file.rigs.items()),
    )


def _rig(name: str, settings: RigSettings, wiring: Wiring) -> RigConfig:
    channels = {channel: wiring.channels[name, channel] for channel in settings.channels}
    outputs = {output: wiring.outputs[name, output] for output in settings.outputs}
    calibrations = {
        channel: Calibration.model_validate(fitted.correction.model_dump(mode="json"))
        for channel, fitted in channels.items()
        if fitted.correction is not None
    }
    whole = {**settings.limits, "facts": _with_title(name, settings.facts)}
    limits = Limits.model_validate({**whole, "calibrations": calibrations})
    return RigConfig(name, limits, channels, outputs)


def _beside(mqtt: MqttSettings, folder: Path) -> dict[str, Path]:
    return {name: folder / value for name, value in dict(mqtt).items() if isinstance(value, Path)}


def _with_title(name: str, facts: dict[str, Any]) -> dict[str, Any]:
    """Facts, with the rig's name for a title where none is given."""
    title = name.upper().replace("-", " ")[:TITLE_CHARACTERS_MAX]
    return {"title": title, **facts}


def _read(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as file:
            content = file.read(FILE_BYTES_MAX + 1)
    except OSError as error:
        what = error.strerror or error
        raise ConfigError(
            [f"{path}: cannot be read: {what}; name a configuration that you may read"]
        ) from error
    if len(content) > FILE_BYTES_MAX:
        raise ConfigError([f"{path}: over {FILE_BYTES_MAX} bytes; this is no configuration"])
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise ConfigError([f"{path}:{line}: not UTF-8 text; save the file as UTF-8"]) from error
    except (ValueError, RecursionError) as error:
        # Besides its own error, tomllib lets through what int() and dates refuse.
        raise ConfigError([f"{path}: not TOML: {error}; mend the line it names"]) from error


def _judged(raw: dict[str, Any], folder: Path) -> tuple[Wiring, list[str]]:
    """The wiring of a parsed file, and every mistake once, without the file's name."""
    rigs, links = _tables(raw.get("rigs")), _tables(raw.get("links"))
    wiring = wired(links, rigs, folder)
    found = [*model_faults(ConfigFile, raw, ""), *wiring.faults]
    for name, rig in rigs.items():
        found += _rig_faults(name, rig, links)
        found += _missed_presses(name, rig.get("facts"), wiring)
    return wiring, list(dict.fromkeys(map(printable, found)))


def _tables(value: object) -> dict[str, dict[str, Any]]:
    """What of `value` are tables by name; anything else the models complain of."""
    entries = value.items() if isinstance(value, dict) else ()
    return {name: entry for name, entry in entries if isinstance(entry, dict)}


def _rig_faults(name: str, rig: dict[str, Any], links: dict[str, dict[str, Any]]) -> Iterator[str]:
    where = f"rigs.{name}"
    if name == RESERVED:
        yield f"{where}: this name is the daemon's own in topics; choose another"
    facts, limits = rig.get("facts", {}), rig.get("limits", {})
    if isinstance(facts, dict) and isinstance(limits, dict):
        if "facts" in limits:
            yield f"{where}.limits.facts: facts stand in [{where}.facts]; move them there"
        if "calibrations" in limits:
            yield (
                f"{where}.limits.calibrations: a calibration stands in the channel's own table "
                f"[{where}.channels.CHANNEL.correction]; move it there"
            )
        whole = {**limits, "facts": _with_title(name, facts)}
        for fault in model_faults(Limits, whole, f"{where}.limits"):
            yield fault.replace(f"{where}.limits.facts", f"{where}.facts")
    for group, known in GROUPS.items():
        yield from unknown_names(f"{where}.{group}", rig.get(group), known)
    yield from _undeclared_pads(where, facts, rig)
    yield from _slow_frames(where, facts, rig, links)


def _undeclared_pads(where: str, facts: object, rig: dict[str, Any]) -> Iterator[str]:
    """One pad alone must be declared: a thermocouple forgotten would look just like it."""
    stated = facts.get("pads", Pads.BOTH.value) if isinstance(facts, dict) else None
    channels = _tables(rig.get("channels"))
    fitted = tuple(name for name in PADS if name in channels)
    if not fitted or stated not in PADS_STATED:
        return
    needed = PADS_STATED[stated]
    missing = [name for name in needed if name not in fitted]
    more = [name for name in fitted if name not in needed]
    if missing:
        right = next(word for word, names in PADS_STATED.items() if names == fitted)
        yield (
            f'{where}.facts.pads: "{stated}" is stated, but {missing[0]} is not fitted; '
            f'give {where}.channels.{missing[0]}, or state pads = "{right}" if the repair is '
            "heated by that pad alone"
        )
    elif more:
        yield (
            f'{where}.facts.pads: "{stated}" is stated, but {more[0]} is fitted too; '
            f'leave out {where}.channels.{more[0]}, or state pads = "both"'
        )


def _slow_frames(
    where: str, facts: object, rig: dict[str, Any], links: dict[str, dict[str, Any]]
) -> Iterator[str]:
    """A link lets a rig's outputs go when its frames come too seldom."""
    period_s = facts.get("frame_period_s", 1.0) if isinstance(facts, dict) else None
    used = [relay.get("link") for relay in _tables(rig.get("outputs")).values()]
    for link in (name for name in links if name in used):
        hold_s = hold_of(links[link])
        if not isinstance(period_s, int | float) or not isinstance(hold_s, int | float):
            continue
        if period_s >= hold_s:
            yield (
                f"{where}.facts.frame_period_s = {period_s:g} is not below links.{link}.hold_s = "
                f"{hold_s:g}, so outputs would be let go between two frames; "
                "lower frame_period_s or raise hold_s"
            )


def _missed_presses(name: str, facts: object, wiring: Wiring) -> Iterator[str]:
    """A press that shows no longer than a frame's period may fall between two frames."""
    period_s = facts.get("frame_period_s", 1.0) if isinstance(facts, dict) else 1.0
    for button in BUTTONS:
        channel = wiring.channels.get((name, button))
        link = wiring.links.get(channel.link) if channel is not None else None
        if channel is None or link is None or not isinstance(period_s, int | float):
            continue
        shows_s = getattr(channel.point, "stretch_s", None)  # where a kind lengthens presses
        if shows_s is None:
            shows_s = getattr(link.settings, "stretch_s", None)
        if shows_s is not None and shows_s <= period_s:
            yield (
                f"rigs.{name}.channels.{button}: shows a press for stretch_s = {shows_s:g} and a "
                f"frame comes every frame_period_s = {period_s:g}, so short presses would be "
                "missed; raise stretch_s above frame_period_s, or lower frame_period_s"
            )
