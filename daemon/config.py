"""The configuration: one TOML file, strict, with every mistake told at once."""

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.notify.settings import MqttSettings
from drivers.modbus.registers import LinkSettings, OutputSettings, PointSettings
from rules.channels import BY_NAME, OUTPUTS_BY_NAME
from rules.limits import Limits, LimitsBase

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
NAME = r"^[a-z0-9][a-z0-9-]{0,23}$"


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


class ModbusLink(LinkSettings):
    """A Modbus TCP link of the configuration.

    Attributes:
        kind: always `modbus_tcp`.
    """

    kind: Literal["modbus_tcp"]


class ChannelSettings(PointSettings):
    """A channel and where it is read.

    Attributes:
        link: name of the link.
    """

    link: str = Field(pattern=NAME)


class RelaySettings(BaseModel):
    """An output and where it is written.

    Attributes:
        link: name of the link.
        unit: unit address of the module.
        number: of the coil on the wire, from 0; `register` in the file.
    """

    model_config = STRICT

    link: str = Field(pattern=NAME)
    unit: int = Field(ge=0, le=255)
    number: int = Field(alias="register", ge=0, le=65535)


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
    channels: dict[str, ChannelSettings]
    outputs: dict[str, RelaySettings] = Field(default_factory=dict)


class _File(BaseModel):
    """The file as written."""

    model_config = STRICT

    site: str = Field(pattern=NAME)
    store: StoreSettings = StoreSettings()
    control: ControlSettings = ControlSettings()
    mqtt: MqttSettings | None = None
    pretend: PretendSettings | None = None
    links: dict[str, ModbusLink] = Field(min_length=1)
    rigs: dict[str, RigSettings] = Field(min_length=1)


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
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ConfigError(
            [f"{path}: cannot be read: {error.strerror}; name a file that is there"]
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError([f"{path}: not TOML: {error}; mend the line it names"]) from error
    faults = [f"{path.name}: {fault}" for fault in _faults(raw)]
    if faults:
        raise ConfigError(faults)
    file = _File.model_validate(raw)
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
    facts = {"title": name.upper().replace("-", " "), **rig.facts}
    return Limits.model_validate({**rig.limits, "facts": facts})


def _faults(raw: dict[str, Any]) -> list[str]:
    """Every mistake of a parsed file, without the file's name."""
    found = list(_model_faults(_File, raw, ""))
    rigs = raw.get("rigs")
    rigs = rigs if isinstance(rigs, dict) else {}
    for name, rig in rigs.items():
        if isinstance(rig, dict):
            found += _rig_faults(name, rig, raw)
    found += _doubled(rigs)
    return found


def _rig_faults(name: str, rig: dict[str, Any], raw: dict[str, Any]) -> Iterator[str]:
    where = f"rigs.{name}"
    facts, limits = rig.get("facts", {}), rig.get("limits", {})
    if isinstance(facts, dict) and isinstance(limits, dict):
        if "facts" in limits:
            yield f"{where}.limits.facts: facts stand in [{where}.facts]; move them there"
        else:
            title = {"title": name.upper().replace("-", " ")}
            whole = {**limits, "facts": {**title, **facts}}
            yield from (
                fault.replace(f"{where}.limits.facts", f"{where}.facts")
                for fault in _model_faults(Limits, whole, f"{where}.limits")
            )
    yield from _unknown_names(f"{where}.channels", rig.get("channels"), BY_NAME)
    yield from _unknown_names(f"{where}.outputs", rig.get("outputs"), OUTPUTS_BY_NAME)
    links = raw.get("links")
    known = list(links) if isinstance(links, dict) else []
    for group in ("channels", "outputs"):
        entries = rig.get(group)
        for entry, settings in (entries if isinstance(entries, dict) else {}).items():
            link = settings.get("link") if isinstance(settings, dict) else None
            if isinstance(link, str) and link not in known:
                yield (
                    f"{where}.{group}.{entry}.link = {link!r}: no such link; "
                    f"give one of {', '.join(known) or 'the links, once there are some'}"
                )


def _unknown_names(where: str, entries: object, known: Mapping[str, object]) -> Iterator[str]:
    for name in entries if isinstance(entries, dict) else ():
        if name not in known:
            near = difflib.get_close_matches(name, known, 1)
            right = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
            yield f"{where}.{name}: no such channel; {right}"


def _doubled(rigs: dict[str, Any]) -> Iterator[str]:
    seen: dict[tuple[object, ...], str] = {}
    for rig, settings in rigs.items():
        for group in ("channels", "outputs"):
            entries = settings.get(group) if isinstance(settings, dict) else None
            for name, entry in (entries if isinstance(entries, dict) else {}).items():
                if not isinstance(entry, dict):
                    continue
                table = "coil" if group == "outputs" else entry.get("table")
                place = (entry.get("link"), entry.get("unit"), table, entry.get("register"))
                here = f"rigs.{rig}.{group}.{name}"
                if place in seen and None not in place:
                    yield (
                        f"{here}: the same register as {seen[place]} (link {place[0]}, unit "
                        f"{place[1]}, {place[2]} {place[3]}); give each its own"
                    )
                seen.setdefault(place, here)


def _model_faults(model: type[BaseModel], raw: object, where: str) -> Iterator[str]:
    try:
        model.model_validate(raw)
    except ValidationError as error:
        for item in error.errors(include_url=False):
            yield _fault(item, where, model)


def _fault(item: Any, where: str, model: type[BaseModel]) -> str:  # Any: pydantic's own error dict
    key = ".".join(part for part in (where, *map(str, item["loc"])) if part) or "file"
    given = item["input"]
    shown = f" = {given!r}" if isinstance(given, str | int | float | bool) else ""
    message = str(item["msg"]).removeprefix("Value error, ")
    if item["type"] == "extra_forbidden":
        return f"{key}: no such key; {_near(item['loc'], model)}"
    if item["type"] == "missing":
        return f"{key}: missing; add it"
    if item["type"] == "value_error":
        return f"{key}: {message}"
    return f"{key}{shown}: {message[0].lower()}{message[1:]}"


def _near(loc: tuple[int | str, ...], model: type[BaseModel]) -> str:
    """A key that may have been meant, found by walking the model."""
    fields: Any = model
    for part in loc[:-1]:
        field = getattr(fields, "model_fields", {}).get(part)
        fields = field.annotation if field is not None else _value_model(fields)
    found = getattr(fields, "model_fields", {})
    known = [field.alias or name for name, field in found.items()]
    near = difflib.get_close_matches(str(loc[-1]), known, 1)
    if near:
        return f"did you mean {near[0]}?"
    return f"known are {', '.join(known)}" if known else "remove it"


def _value_model(annotation: object) -> object:
    """The model that a `dict[str, Model]` or `Model | None` holds."""
    arguments = getattr(annotation, "__args__", ())
    models = [item for item in arguments if hasattr(item, "model_fields")]
    return models[0] if models else annotation
