"""What a configuration says of a Modbus link: connection, modules, points and outputs.

Registers and bits are numbered from 0, as they travel on the wire; a manual
that counts from 1, or from 30001 or 40001, needs that subtracted.

Source:
    Modbus Application Protocol V1.1b3, section 4 (tables, numbering, limits);
    Modbus over Serial Line V1.02, section 2.2 (unit addresses).
"""

from collections.abc import Mapping
from typing import Literal, Self

from pydantic import BaseModel, Field, field_validator, model_validator

from drivers.serial_port import PortSettings
from drivers.settings import STRICT, ScaledSettings

Table = Literal["input", "holding", "coil", "discrete"]
WordType = Literal["int16", "uint16", "int32", "float32"]
Order = Literal["ABCD", "CDAB", "BADC", "DCBA"]

BIT_TABLES = frozenset({"coil", "discrete"})
WORDS: Mapping[WordType, int] = {"int16": 1, "uint16": 1, "int32": 2, "float32": 2}
REGISTER_LAST = 65535
_UNITS = frozenset((*range(248), 255))
_COUNTS: Mapping[WordType, tuple[float, float]] = {
    "int16": (-32768, 32767),
    "uint16": (0, 65535),
    "int32": (-2147483648, 2147483647),
    "float32": (-3.4028234663852886e38, 3.4028234663852886e38),  # IEEE 754 binary32
}
# A single coil or input says nothing but its state; these would be ignored.
_OF_REGISTERS = (
    "type",
    "order",
    "scale",
    "offset",
    "range_low",
    "range_high",
    "open_at",
    "short_at",
)


class UnitSettings(BaseModel):
    """What is known of one module behind the link.

    Attributes:
        module: name of a description this program brings, or a path to one of
            your own, seen from the configuration; see README.md.
        answer_s: how long the module takes before its answer begins, s; for
            the arithmetic of a serial bus.
        watchdog_register: the holding register of the module's own
            communication time-out, after which it opens its outputs.
        watchdog_counts_per_s: counts of that register that make one second.
        watchdog_s: the time-out to be set there, s; it is set and read back
            whenever the module is met, and no output is switched on unless it stands.
    """

    model_config = STRICT

    module: str | None = Field(default=None, min_length=1, max_length=200)
    answer_s: float = Field(default=0.01, ge=0, le=1)
    watchdog_register: int | None = Field(default=None, ge=0, le=REGISTER_LAST)
    watchdog_counts_per_s: float | None = Field(default=None, gt=0, le=1000)
    watchdog_s: float | None = Field(default=None, gt=0, le=60)

    @property
    def watchdog_counts(self) -> int | None:
        """What the time-out's register must hold; None where none is set."""
        if self.watchdog_s is None or self.watchdog_counts_per_s is None:
            return None
        return round(self.watchdog_s * self.watchdog_counts_per_s)

    @model_validator(mode="after")
    def _whole_watchdog(self) -> Self:
        given = (self.watchdog_register, self.watchdog_counts_per_s)
        if self.watchdog_s is not None and None in given:
            raise ValueError(
                "watchdog_s needs watchdog_register and watchdog_counts_per_s, from the module's "
                "manual or its description; give them, or remove watchdog_s"
            )
        counts = self.watchdog_counts
        if counts is not None and not 1 <= counts <= REGISTER_LAST:
            raise ValueError(
                f"watchdog_s = {self.watchdog_s:g} would be {counts} counts, and the register "
                f"takes 1 to {REGISTER_LAST}; correct watchdog_s or watchdog_counts_per_s"
            )
        return self


class PollSettings(BaseModel):
    """How any Modbus link is polled.

    Attributes:
        period_s: time between polls, s.
        timeout_s: how long a connection or an answer may take, s.
        hold_s: an output stays on only while its token was renewed less than
            this long ago, s.
        reconnect_s_max: longest wait between two attempts to connect, s.
        units: what is known of the modules, by unit address.
    """

    model_config = STRICT

    period_s: float = Field(default=1.0, ge=0.1, le=60)
    timeout_s: float = Field(default=0.5, gt=0, le=10)
    hold_s: float = Field(default=3.0, gt=0, le=30)
    reconnect_s_max: float = Field(default=2.0, gt=0, le=60)
    units: dict[str, UnitSettings] = Field(default_factory=dict)

    def unit(self, unit: int) -> UnitSettings:
        """What is known of one module; the defaults where nothing is."""
        return self.units.get(str(unit), _UNKNOWN)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.timeout_s > self.period_s:
            raise ValueError(
                f"timeout_s = {self.timeout_s:g} is above period_s = {self.period_s:g}, so one "
                "dead unit would hold up every poll; lower timeout_s or raise period_s"
            )
        if self.hold_s < self.period_s:
            raise ValueError(
                f"hold_s = {self.hold_s:g} is below period_s = {self.period_s:g}, so outputs would "
                "be let go between two polls; raise hold_s or lower period_s"
            )
        wrong = [key for key in self.units if not _is_unit(key)]
        if wrong:
            raise ValueError(
                f"units: {', '.join(wrong)} cannot be unit addresses; give 0 to 247 without "
                "leading zeros, or 255"
            )
        return self


_UNKNOWN = UnitSettings()


class TcpSettings(PollSettings):
    """How one Modbus TCP server, or gateway, is reached.

    Attributes:
        host: its address.
        port: its TCP port.
    """

    host: str = Field(min_length=1, max_length=253)
    port: int = Field(default=502, ge=1, le=65535)

    @field_validator("host")
    @classmethod
    def _can_be_looked_up(cls, host: str) -> str:
        try:
            host.encode("idna")
        except UnicodeError as error:
            raise ValueError(
                f"{host!r} is no name or address of a computer; give one like 192.0.2.10"
            ) from error
        if not host.isprintable() or " " in host:
            raise ValueError(
                f"{host!r} holds what no name or address has; give one like 192.0.2.10"
            )
        return host


class RtuSettings(PollSettings, PortSettings):
    """A serial bus with Modbus RTU modules on it; the standard's own defaults.

    Attributes:
        late_s: how late after its question a module may still answer, s; one
            that kept silent is not asked again before, and what it says
            meanwhile is thrown away; best no whole number of periods, or by a
            hair's breadth it is asked a whole period later.

    Source:
        Modbus over Serial Line V1.02, section 2.5.1 (19200 baud, even parity).
    """

    late_s: float = Field(default=1.5, gt=0, le=60)

    @model_validator(mode="after")
    def _late_enough(self) -> Self:
        if self.late_s < self.timeout_s:
            raise ValueError(
                f"late_s = {self.late_s:g} is below timeout_s = {self.timeout_s:g}; an answer is "
                "late only after the time-out, raise late_s"
            )
        return self


def _is_unit(key: str) -> bool:
    return key.isascii() and key.isdigit() and str(int(key)) == key and int(key) in _UNITS


class Numbered(BaseModel):
    """Anything that has a number within its module."""

    model_config = STRICT

    # Known as `register` outside; pydantic's models have a method of that name.
    number: int = Field(alias="register", ge=0, le=REGISTER_LAST)


class Addressed(Numbered):
    """Anything that has a unit and a number on the wire."""

    unit: int = Field(ge=0, le=255)

    @field_validator("unit")
    @classmethod
    def _not_reserved(cls, unit: int) -> int:
        if 248 <= unit <= 254:
            raise ValueError(
                f"unit {unit} is reserved by the standard; give 0 to 247, or 255 for a server "
                "that has no units behind it"
            )
        return unit


class PlaceSettings(Numbered, ScaledSettings):
    """Where one value stands in its module, and what its count means.

    Attributes:
        table: `input` or `holding` registers, `coil` or `discrete` bits.
        number: on the wire, from 0; `register` in a configuration.
        type: of a register value; needed for registers, unknown to bits.
        order: of the four bytes of a two-register value, A the highest.
        open_at: count, before scaling, by which the module says "open circuit".
        short_at: count, before scaling, by which it says "short circuit".
        inverted: a bit that reads 0 when the switch is on.
    """

    table: Table
    type: WordType | None = None
    order: Order = "ABCD"
    open_at: float | None = None
    short_at: float | None = None
    inverted: bool = False

    @property
    def is_bit(self) -> bool:
        """Whether this is a coil or a discrete input."""
        return self.table in BIT_TABLES

    @property
    def width(self) -> int:
        """How many registers, or bits, it takes."""
        return 1 if self.type is None else WORDS[self.type]

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.is_bit:
            self._check_bit()
        else:
            self._check_register()
        return self

    def _check_bit(self) -> None:
        extra = [name for name in _OF_REGISTERS if name in self.model_fields_set]
        if extra:
            raise ValueError(
                f"{', '.join(extra)}: a bit of table {self.table!r} has none; remove, or correct "
                "the table to 'input' or 'holding'"
            )

    def _check_register(self) -> None:
        if self.type is None:
            raise ValueError(
                f"type is missing: table {self.table!r} holds registers; give one of "
                f"{', '.join(WORDS)} from the module's manual"
            )
        if self.inverted:
            raise ValueError(
                "inverted is for bits only; for a register use a negative scale, or correct the "
                "table to 'coil' or 'discrete'"
            )
        if self.width == 1 and self.order != "ABCD":
            raise ValueError(
                f"order = {self.order} needs four bytes and {self.type} has two; remove order, or "
                "correct type to int32 or float32"
            )
        if self.number + self.width - 1 > REGISTER_LAST:
            raise ValueError(
                f"register = {self.number} is the last there is and {self.type} takes two; give "
                f"at most {REGISTER_LAST - 1}, or correct type"
            )
        self._check_markers()

    def _check_markers(self) -> None:
        for name in ("open_at", "short_at"):
            self._check_count(name, getattr(self, name))
        if self.open_at is not None and self.open_at == self.short_at:
            raise ValueError(
                f"open_at and short_at are both {self.open_at:g}, so the two faults could not be "
                "told apart; give the module's two counts, or only the one it has"
            )

    def _check_count(self, name: str, count: float | None) -> None:
        if count is None or self.type is None:
            return
        low, high = _COUNTS[self.type]
        whole = self.type == "float32" or count == int(count)
        if not (low <= count <= high and whole):
            raise ValueError(
                f"{name} = {count:g} is no {self.type} ({low:g} to {high:g}), so it could never be "
                "read; give the count as the module sends it, before scaling, or correct type"
            )


class PointSettings(Addressed, PlaceSettings):
    """One value to be read.

    Attributes:
        unit: unit address of the module, 0 to 247, or 255.
    """


class OutputSettings(Addressed):
    """One coil to be written, and read back as a point of the same name.

    Attributes:
        unit: unit address of the module, 0 to 247, or 255.
        number: of the coil on the wire, from 0; `register` in a configuration.
        toggled: while on it is switched to and fro every `period_s`, for a relay
            with a time of its own that falls when the changes cease.
        guarded: it is on only while the communication time-out of its module stands,
            where one is to be set; not so for what must sound all the same.
        token: whose life keeps it on; see `PollSettings.hold_s`.
    """

    toggled: bool = False
    guarded: bool = True
    token: str = Field(min_length=1, max_length=100)
