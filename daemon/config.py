"""The configuration: one TOML file, strict, with every mistake told at once."""

import itertools
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from daemon.config_faults import doubled_registers, model_faults, printable, unknown_names
from daemon.notify.settings import MqttSettings
from daemon.notify.topics import RESERVED
from drivers.modbus.registers import Addressed, TcpSettings, OutputSettings, PointSettings
from rules.channels import BY_NAME, OUTPUTS_BY_NAME
from rules.limits import Limits, LimitsBase

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,23}$")]
FILE_BYTES_MAX = 1_000_000
TITLE_CHARACTERS_MAX = 20


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


class ModbusLink(TcpSettings):
    """A Modbus TCP link of the configuration.

    Attributes:
        kind: always `modbus_tcp`.
        hold_s: an output stays on only while its rig was alive less than this
            long ago, s; never longer than a gap that the rules let pass.
    """

    kind: Literal["modbus_tcp"]
    hold_s: float = Field(default=3.0, gt=0, le=3)


class ChannelSettings(PointSettings):
    """A channel and where it is read.

    Attributes:
        link: name of the link.
    """

    link: Name


class RelaySettings(Addressed):
    """An output and where it is written.

    Attributes:
        link: name of the link.
        unit: unit address of the module.
        number: of the coil on the wire, from 0; `register` in the file.
    """

    link: Name


class RigSettings(BaseModel):
    """One rig.

    Attributes:
        facts: what the owner states; see `rules.facts.RigFacts`.
        limits: limits that differ from the defaults.
        channels: what is fitted, by channel name.
        outputs: what is fitted, by output name.
    """

    model_config = STRICT

    facts: dict[str, Any] = Field(default_factory=dict)
    limits: dict[str, Any] = Field(default_factory=dict)
    channels: dict[str, ChannelSettings] = Field(min_length=1)
    outputs: dict[str, RelaySettings] = Field(default_factory=dict)


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
    links: dict[Name, ModbusLink] = Field(min_length=1)
    rigs: dict[Name, RigSettings] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class RigConfig:
    """One rig, ready to be supervised.

    Attributes:
        name: as in topics and on the command line.
        limits: facts and limits.
        channels: where each fitted channel is read.
        outputs: where each fitted output is written.
    """

    name: str
    limits: LimitsBase
    channels: Mapping[str, ChannelSettings]
    outputs: Mapping[str, RelaySettings]


@dataclass(frozen=True, slots=True)
class Config:
    """The whole configuration, checked.

    Attributes:
        site: name of the site in topics.
        store: where records are kept.
        control: the local socket.
        mqtt: the broker, or None.
        pretend: the pretend plant that keeps the time, or None.
        links: by name.
        rigs: in the order of the file.
    """

    site: str
    store: StoreSettings
    control: ControlSettings
    mqtt: MqttSettings | None
    pretend: PretendSettings | None
    links: Mapping[str, ModbusLink]
    rigs: tuple[RigConfig, ...]

    def points(self, link: str) -> dict[str, PointSettings]:
        """What a link reads, by `rig/channel`."""
        return {
            f"{rig.name}/{name}": PointSettings.model_validate(
                channel.model_dump(exclude={"link"}, exclude_unset=True, by_alias=True)
            )
            for rig in self.rigs
            for name, channel in rig.channels.items()
            if channel.link == link
        }

    def outputs(self, link: str) -> dict[str, OutputSettings]:
        """What a link writes, by `rig/output`; the rig's name is its token."""
        return {
            f"{rig.name}/{name}": OutputSettings(
                unit=relay.unit, register=relay.number, token=rig.name
            )
            for rig in self.rigs
            for name, relay in rig.outputs.items()
            if relay.link == link
        }


def load(path: Path) -> Config:
    """Read and check a configuration.

    Args:
        path: the TOML file; relative paths in it count from its folder.

    Raises:
        ConfigError: with every mistake found.
    """
    raw = _read(path)
    faults = [f"{path.name}: {fault}" for fault in _faults(raw)]
    if faults:
        raise ConfigError(faults)
    file = ConfigFile.model_validate(raw)
    folder = path.resolve().parent
    return Config(
        file.site,
        StoreSettings(**{**dict(file.store), "path": folder / file.store.path}),
        ControlSettings(socket=folder / file.control.socket),
        file.mqtt and file.mqtt.model_copy(update=_beside(file.mqtt, folder)),
        file.pretend,
        file.links,
        tuple(
            RigConfig(name, _limits_of(name, rig), rig.channels, rig.outputs)
            for name, rig in file.rigs.items()
        ),
    )


def _beside(mqtt: MqttSettings, folder: Path) -> dict[str, Path]:
    return {name: folder / value for name, value in dict(mqtt).items() if isinstance(value, Path)}


def _limits_of(name: str, rig: RigSettings) -> LimitsBase:
    return Limits.model_validate({**rig.limits, "facts": _with_title(name, rig.facts)})


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


def _faults(raw: dict[str, Any]) -> list[str]:
    """Every mistake of a parsed file, each once, without the file's name."""
    rigs, links = _tables(raw.get("rigs")), _tables(raw.get("links"))
    found = list(model_faults(ConfigFile, raw, ""))
    for name, rig in rigs.items():
        found += _rig_faults(name, rig, links)
    found += _same_place(links)
    found += doubled_registers(rigs)
    return list(dict.fromkeys(map(printable, found)))


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
        whole = {**limits, "facts": _with_title(name, facts)}
        for fault in model_faults(Limits, whole, f"{where}.limits"):
            yield fault.replace(f"{where}.limits.facts", f"{where}.facts")
    yield from unknown_names(f"{where}.channels", rig.get("channels"), BY_NAME)
    yield from unknown_names(f"{where}.outputs", rig.get("outputs"), OUTPUTS_BY_NAME)
    for group in ("channels", "outputs"):
        for entry, settings in _tables(rig.get(group)).items():
            link = settings.get("link")
            if isinstance(link, str) and link not in links:
                yield (
                    f"{where}.{group}.{entry}.link = {link!r}: no such link; "
                    f"give one of {', '.join(links) or 'the links, once there are some'}"
                )
    yield from _slow_frames(where, facts, rig, links)


def _slow_frames(
    where: str, facts: object, rig: dict[str, Any], links: dict[str, dict[str, Any]]
) -> Iterator[str]:
    """A link lets a rig's outputs go when its frames come too seldom."""
    period_s = facts.get("frame_period_s", 1.0) if isinstance(facts, dict) else None
    used = [relay.get("link") for relay in _tables(rig.get("outputs")).values()]
    for link in (name for name in links if name in used):
        hold_s = links[link].get("hold_s", ModbusLink.model_fields["hold_s"].default)
        numbers = isinstance(period_s, int | float) and isinstance(hold_s, int | float)
        if numbers and period_s >= hold_s:
            yield (
                f"{where}.facts.frame_period_s = {period_s:g} is not below links.{link}.hold_s = "
                f"{hold_s:g}, so outputs would be let go between two frames; "
                "lower frame_period_s or raise hold_s"
            )


def _same_place(links: dict[str, dict[str, Any]]) -> Iterator[str]:
    """Two links to one module would not see that they share its registers."""
    for (one, first), (other, second) in itertools.combinations(links.items(), 2):
        place = (first.get("host"), first.get("port", 502))
        if place[0] is not None and place == (second.get("host"), second.get("port", 502)):
            yield (
                f"links.{other}: the same host and port as links.{one}; "
                "one link serves any number of rigs, keep one"
            )
