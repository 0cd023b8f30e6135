"""What a configuration says of a board that sends lines, and the words such a line may hold."""

import re
from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from drivers.serial_port import PortSettings
from drivers.settings import ScaledSettings

Form = Literal["key_value", "csv"]

LINE_BYTES_MAX = 512  # without its end
COLUMNS_MAX = 64
SEQUENCE_NUMBERS = 65536
SEQUENCE_KEY, CHECKSUM_KEY = "seq", "crc"
KEY = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}", re.ASCII)

# What a board may send instead of a number, and the reason it becomes.
FAULT_WORDS: Mapping[str, str] = {
    "!open": "open_circuit",
    "!short": "short_circuit",
    "!low": "below_range",
    "!high": "above_range",
    "!failure": "failure",
}
STATE_LETTERS = "FCSM"  # NAMUR NE 107, see `drivers.sensors.conditioned`


class LinesSettings(PortSettings):
    """How the board is reached and what its lines look like.

    Attributes:
        baud_rate: bits a second; a board with USB of its own ignores it.
        parity: `none`, `even` or `odd`.
        form: `key_value` or `csv`; see docs/board-lines.md.
        columns: of the form `csv`, the names of the columns between the
            sequence number and the checksum, in their order.
        period_s: time between two looks at the port, s. Lines are taken as they
            come; what came while nobody looked for two periods is old and
            thrown away.
        timeout_s: without a good line for this long every point is bad, s.
        lines_per_s_max: more lines a second than about twice this are a fault
            of the board; also how far numbers may run ahead.
        reconnect_s_max: longest wait between two attempts to open the port, s.
    """

    baud_rate: int = Field(default=115200, ge=300, le=4_000_000)
    parity: Literal["none", "even", "odd"] = "none"
    form: Form
    # Lists in a configuration; strict models would take a tuple only.
    columns: Annotated[tuple[str, ...], Field(strict=False, max_length=COLUMNS_MAX)] = ()
    period_s: float = Field(default=0.25, ge=0.05, le=5)
    timeout_s: float = Field(default=3.0, gt=0, le=60)
    lines_per_s_max: int = Field(default=20, ge=1, le=200)
    reconnect_s_max: float = Field(default=2.0, gt=0, le=60)

    @field_validator("columns")
    @classmethod
    def _are_names(cls, columns: tuple[str, ...]) -> tuple[str, ...]:
        for column in columns:
            _check_key(column)
        doubled = sorted({column for column in columns if columns.count(column) > 1})
        if doubled:
            raise ValueError(
                f"{', '.join(doubled)} named twice; give each column a name of its own, in the "
                "order in which the board sends them"
            )
        return columns

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.form == "csv" and not self.columns:
            raise ValueError(
                "columns is missing: a line of form 'csv' does not name its values; list the "
                "columns between the sequence number and the checksum, in their order"
            )
        if self.form == "key_value" and self.columns:
            raise ValueError(
                "columns is for form = 'csv' only, lines of form 'key_value' name their values; "
                "remove columns, or correct form"
            )
        if self.timeout_s < 4 * self.period_s:
            raise ValueError(
                f"timeout_s = {self.timeout_s:g} is below four times period_s = {self.period_s:g}, "
                "the time in which a board that starts again is believed; raise timeout_s or "
                "lower period_s"
            )
        return self


class PointSettings(ScaledSettings):
    """One value to be read.

    Attributes:
        key: its name in the line, or its column.
    """

    key: str

    @field_validator("key")
    @classmethod
    def _is_a_name(cls, key: str) -> str:
        return _check_key(key)


def _check_key(key: str) -> str:
    if not KEY.fullmatch(key):
        raise ValueError(
            f"{key!r} cannot be in a line; give 1 to 40 letters, digits and underscores, a letter "
            "first"
        )
    if key in (SEQUENCE_KEY, CHECKSUM_KEY):
        raise ValueError(f"{key!r} is the line's own; give another name, here and on the board")
    return key
