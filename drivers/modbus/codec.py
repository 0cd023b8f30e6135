"""Requests, frames and values: bytes in, values and verdicts out; nothing waits.

Source:
    Modbus Application Protocol V1.1b3, section 6 (functions, limits of one
    request) and 7 (exceptions); Modbus Messaging on TCP/IP Implementation
    Guide V1.0b, section 3.1 (the seven header bytes). IEEE 754 for float32.
"""

import math
import struct
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from drivers.modbus.registers import BIT_TABLES, OutputSettings, PointSettings, Table
from drivers.settings import scaled

HEADER_BYTES = 7
LENGTH_MIN, LENGTH_MAX = 3, 254
REGISTERS_MAX, BITS_MAX = 125, 2000

READ_BITS, READ_REGISTERS = (1, 2), (3, 4)
READ_FUNCTIONS: Mapping[Table, int] = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
WRITE_COIL, WRITE_REGISTER = 5, 6
COIL_ON = b"\xff\x00"
WRITES = (WRITE_COIL, WRITE_REGISTER)
EXCEPTION_FLAG = 0x80


class GarbledError(ValueError):
    """Bytes that cannot begin a Modbus TCP frame: the stream is out of step."""


@dataclass(frozen=True, slots=True)
class Member:
    """One point within a request: its name and its place in the answer."""

    name: str
    start: int
    width: int


@dataclass(frozen=True, slots=True)
class Request:
    """One read that serves one or more adjacent points.

    Attributes:
        unit: unit address.
        table: which of the four tables.
        register: first number.
        count: how many registers or bits.
        members: the points it serves, by place.
    """

    unit: int
    table: Table
    register: int
    count: int
    members: tuple[Member, ...]


@dataclass(frozen=True, slots=True)
class Decoded:
    """A value, or why there is none; never both."""

    value: float | None
    reason: str = ""


def read_backs(outputs: Mapping[str, OutputSettings]) -> dict[str, PointSettings]:
    """The point by which each output is read back, by the output's name."""
    return {
        name: PointSettings(unit=output.unit, table="coil", register=output.number)
        for name, output in outputs.items()
    }


def question(request: Request) -> bytes:
    """Function code and data of a read."""
    return struct.pack(">BHH", READ_FUNCTIONS[request.table], request.register, request.count)


def switches_on(question: bytes) -> bool:
    """Whether function code and data write a coil on."""
    return question[0] == WRITE_COIL and question[3:] == COIL_ON


def plan(points: Mapping[str, PointSettings]) -> dict[int, tuple[Request, ...]]:
    """The fewest requests that read all points without reading between them.

    Registers that nobody asked for are never read: many modules refuse a whole
    request for one register they do not have.

    Args:
        points: by name.

    Returns:
        Requests by unit address, both in rising order.
    """
    ordered = sorted(points.items(), key=lambda item: _place(*item))
    groups: list[list[tuple[str, PointSettings]]] = []
    for name, point in ordered:
        if groups and _joins(groups[-1], point):
            groups[-1].append((name, point))
        else:
            groups.append([(name, point)])
    by_unit: defaultdict[int, list[Request]] = defaultdict(list)
    for group in groups:
        request = _request(group)
        by_unit[request.unit].append(request)
    return {unit: tuple(requests) for unit, requests in by_unit.items()}


def _place(name: str, point: PointSettings) -> tuple[int, str, int, str]:
    return (point.unit, point.table, point.number, name)


def _joins(group: list[tuple[str, PointSettings]], point: PointSettings) -> bool:
    first = group[0][1]
    if (point.unit, point.table) != (first.unit, first.table):
        return False
    end = max(member.number + member.width for _, member in group)
    most = BITS_MAX if first.table in BIT_TABLES else REGISTERS_MAX
    return point.number <= end and point.number + point.width - first.number <= most


def _request(group: list[tuple[str, PointSettings]]) -> Request:
    first = group[0][1]
    end = max(point.number + point.width for _, point in group)
    members = tuple(Member(name, point.number - first.number, point.width) for name, point in group)
    return Request(first.unit, first.table, first.number, end - first.number, members)


def first_frame(data: bytes) -> bytes | None:
    """The first whole frame in a stream, header included.

    Args:
        data: what has come so far and was not yet used.

    Returns:
        The frame, or None while it is not whole.

    Raises:
        GarbledError: no frame begins like this, however much follows.
    """
    if len(data) < 6:
        if any(data[2:4]):
            raise GarbledError("the header names another protocol than Modbus")
        return None
    _, protocol, length = struct.unpack(">HHH", data[:6])
    if protocol != 0:
        raise GarbledError(f"the header names protocol {protocol}, Modbus is 0")
    if not LENGTH_MIN <= length <= LENGTH_MAX:
        raise GarbledError(
            f"the header announces {length} bytes, Modbus has {LENGTH_MIN} to {LENGTH_MAX}"
        )
    end = 6 + length
    return data[:end] if len(data) >= end else None


def same_transaction(asked: bytes, answered: bytes) -> bool:
    """Whether a frame carries the transaction number of the request."""
    return asked[:2] == answered[:2]


def reply_fault(asked: bytes, answered: bytes) -> str:
    """What is wrong with a frame as the answer to a request.

    Args:
        asked: the request's whole frame.
        answered: a whole frame with the same transaction number.

    Returns:
        Empty when it answers the request (an exception does), else the fault in
        words that name both sides.
    """
    if answered[6] != asked[6]:
        return f"asked unit {asked[6]}, unit {answered[6]} answered"
    return body_fault(asked[HEADER_BYTES:], answered[HEADER_BYTES:])


def body_fault(question: bytes, answer: bytes) -> str:
    """What is wrong with function code and data as the answer to a question's.

    Args:
        question: function code and data asked, the same on every wire.
        answer: function code and data answered, at least one byte.

    Returns:
        As `reply_fault`.
    """
    if answer[0] == question[0] | EXCEPTION_FLAG:
        return "" if len(answer) == 2 else f"an exception of {len(answer)} bytes, not 2"
    if answer[0] != question[0]:
        return f"asked function {question[0]}, function {answer[0]} answered"
    if question[0] in WRITES:
        return "" if answer == question else "the echo of the write is not what was written"
    return _count_fault(question, answer)


def _count_fault(question: bytes, answer: bytes) -> str:
    (count,) = struct.unpack(">H", question[3:5])
    expected = (count + 7) // 8 if question[0] in READ_BITS else 2 * count
    if len(answer) != 2 + expected or answer[1] != expected:
        return (
            f"asked for {expected} bytes of data, the answer announces {answer[1]} "
            f"and holds {len(answer) - 2}"
        )
    return ""


def decode(point: PointSettings, raw: tuple[int, ...]) -> Decoded:
    """What a point's registers or bit say.

    Args:
        point: its settings.
        raw: shape (point.width,): registers 0 to 65535, or one bit 0 or 1.

    Returns:
        The value in the point's unit, or the reason why there is none.
    """
    if point.is_bit:
        return Decoded(float(bool(raw[0]) != point.inverted))
    counts = _counts(point, raw)
    if not math.isfinite(counts):
        return Decoded(None, "not_a_number")
    if _is_marker(point, counts, point.open_at):
        return Decoded(None, "open_circuit")
    if _is_marker(point, counts, point.short_at):
        return Decoded(None, "short_circuit")
    return Decoded(*scaled(point, counts))


_FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "float32": ">f"}


def _counts(point: PointSettings, raw: tuple[int, ...]) -> float:
    words = reversed(raw) if point.order in ("CDAB", "DCBA") else raw
    word_format = "<H" if point.order in ("BADC", "DCBA") else ">H"
    packed = b"".join(struct.pack(word_format, word) for word in words)
    (counts,) = struct.unpack(_FORMATS[point.type or "uint16"], packed)
    return float(counts)


def _is_marker(point: PointSettings, counts: float, marker: float | None) -> bool:
    if marker is None or point.type != "float32":
        return counts == marker
    # A marker such as 9999.9 is not itself a binary32 number; the wire's nearest is.
    (nearest,) = struct.unpack(">f", struct.pack(">f", marker))
    return bool(counts == nearest)
