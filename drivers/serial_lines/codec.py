"""Lines and values: bytes in, values and verdicts out; nothing waits.

Source:
    The two forms are this project's own: docs/board-lines.md. The checksum is
    that of Modbus over Serial Line V1.02, section 6.2.2 (reflected polynomial
    0xA001, all ones first).
"""

import re
from dataclasses import dataclass

from drivers.serial_lines.registers import (
    CHECKSUM_KEY,
    FAULT_WORDS,
    KEY,
    LINE_BYTES_MAX,
    SEQUENCE_KEY,
    SEQUENCE_NUMBERS,
    STATE_LETTERS,
    LinesSettings,
    PointSettings,
)
from drivers.settings import scaled

_NUMBER = re.compile(rf"([+-]?[0-9]{{1,9}}(?:\.[0-9]{{1,9}})?)(?::([{STATE_LETTERS}]))?", re.ASCII)
_SEQUENCE = re.compile(r"[0-9]{1,5}", re.ASCII)
_CHECKSUM = re.compile(rb"[0-9A-Fa-f]{4}")


class RefusedLine(ValueError):
    """A line of which nothing may be believed; says why."""


@dataclass(frozen=True, slots=True)
class Line:
    """What one good line says.

    Attributes:
        number: its sequence number, 0 to 65535.
        fields: the text sent, by key or column.
    """

    number: int
    fields: dict[str, str]


@dataclass(frozen=True, slots=True)
class Decoded:
    """A value, or why there is none; never both.

    Attributes:
        value: in the point's unit.
        reason: as in `Sample.reason`.
        state: the letter of the instrument's state (NE 107), or empty.
    """

    value: float | None
    reason: str = ""
    state: str = ""


class Splitter:
    """Cuts what comes into lines; keeps little more than one line, whatever comes.

    The first line after a start is thrown away, as its beginning was not seen.
    """

    def __init__(self) -> None:
        self._part = bytearray()
        self._skipping = True

    @property
    def under_way(self) -> bool:
        """Part of a line has come."""
        return bool(self._part)

    def restart(self) -> None:
        """Forget what came; the line under way is thrown away."""
        self._part.clear()
        self._skipping = True

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that end in `data`, without their ends.

        Args:
            data: what came next, cut anywhere.

        Returns:
            In order; one too long is cut where `read_line` still refuses it.
        """
        lines: list[bytes] = []
        *ended, rest = data.split(b"\n")
        for piece in ended:
            self._add(piece)
            if not self._skipping:
                lines.append(bytes(self._part).removesuffix(b"\r"))
            self._skipping = False
            self._part.clear()
        self._add(rest)
        return lines

    def _add(self, piece: bytes) -> None:
        self._part += piece[: LINE_BYTES_MAX + 2 - len(self._part)]


def checksum(data: bytes) -> int:
    """The checksum of a line's bytes, 0 to 65535.

    Source:
        Modbus over Serial Line V1.02, section 6.2.2.
    """
    found = 0xFFFF
    for byte in data:
        found = found >> 8 ^ _TABLE[(found ^ byte) & 0xFF]
    return found


def _table_entry(byte: int) -> int:
    for _ in range(8):
        byte = byte >> 1 ^ (0xA001 if byte & 1 else 0)
    return byte


_TABLE = tuple(_table_entry(byte) for byte in range(256))


def read_line(line: bytes, settings: LinesSettings) -> Line:
    """What one line says.

    Args:
        line: without its end.
        settings: which form it has.

    Returns:
        Its number and fields.

    Raises:
        RefusedLine: too long, not ASCII, wrong checksum, or not of this form.
    """
    if len(line) > LINE_BYTES_MAX:
        raise RefusedLine(f"longer than {LINE_BYTES_MAX} bytes; send fewer values a line")
    if any(not 0x20 <= byte <= 0x7E for byte in line):
        raise RefusedLine("bytes that are not printable ASCII; check baud rate, ground and plug")
    by_key = settings.form == "key_value"
    body, _, check = line.rpartition(b" " if by_key else b",")
    digits = check.removeprefix(f"{CHECKSUM_KEY}=".encode()) if by_key else check
    if (by_key and digits == check) or not _CHECKSUM.fullmatch(digits):
        raise RefusedLine("no checksum at its end; see docs/board-lines.md")
    wanted = checksum(body)
    if int(digits, 16) != wanted:
        raise RefusedLine(f"its checksum is {digits.decode()}, its bytes give {wanted:04X}")
    text = body.decode("ascii")
    return _read_keys(text) if by_key else _read_columns(text, settings.columns)


def _read_keys(body: str) -> Line:
    first, *rest = body.split(" ")
    key, _, number = first.partition("=")
    if key != SEQUENCE_KEY:
        raise RefusedLine(f"does not begin with {SEQUENCE_KEY}=")
    fields: dict[str, str] = {}
    for token in rest:
        key, equals, text = token.partition("=")
        if not equals or not KEY.fullmatch(key) or key in (SEQUENCE_KEY, CHECKSUM_KEY):
            raise RefusedLine(f"{token!r} is no key=value; one space between, none within")
        if key in fields:
            raise RefusedLine(f"{key} stands in it twice")
        fields[key] = text
    return Line(_sequence_number(number), fields)


def _read_columns(body: str, columns: tuple[str, ...]) -> Line:
    number, *texts = body.split(",")
    if len(texts) != len(columns):
        raise RefusedLine(f"{len(texts)} values, and columns names {len(columns)}")
    return Line(_sequence_number(number), dict(zip(columns, texts, strict=True)))


def _sequence_number(text: str) -> int:
    if not _SEQUENCE.fullmatch(text) or int(text) >= SEQUENCE_NUMBERS:
        raise RefusedLine(f"{text!r} is no sequence number, 0 to {SEQUENCE_NUMBERS - 1}")
    return int(text)


def decode(point: PointSettings, text: str | None) -> Decoded:
    """What a line says of a point.

    Args:
        point: its settings.
        text: as sent; None when the line does not name it.

    Returns:
        The value in the point's unit, or the reason why there is none.
    """
    if not text:
        return Decoded(None, "missing")
    if text in FAULT_WORDS:
        return Decoded(None, FAULT_WORDS[text])
    number = _NUMBER.fullmatch(text)
    if number is None:
        return Decoded(None, "not_a_number")
    return Decoded(*scaled(point, float(number[1])), number[2] or "")
