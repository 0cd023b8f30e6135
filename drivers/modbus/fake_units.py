"""Modules as they answer on any wire: function code and data in, function code and data out.

Source:
    Modbus Application Protocol V1.1b3, section 6 (functions 1 to 6) and 7
    (exceptions).
"""

import struct
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

REQUESTS_KEPT_MAX = 100_000
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
COIL_ON, COIL_OFF = 0xFF00, 0x0000
_FUNCTION_TABLE = {1: "coil", 2: "discrete", 3: "holding", 4: "input"}

Place = tuple[int, str, int]


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as it came: `value` is the count of a read, or what was written."""

    unit: int
    function: int
    register: int
    value: int


class FakeUnits:
    """Registers and bits of some modules.

    Attributes:
        values: registers 0 to 65535 and bits 0 or 1 by (unit, table, number);
            may be changed at any time. What is not there is refused.
        asked: the newest requests, oldest first.
    """

    def __init__(self, values: Mapping[Place, int]) -> None:
        self.values = dict(values)
        self.asked: deque[Asked] = deque(maxlen=REQUESTS_KEPT_MAX)

    def answer(self, unit: int, question: bytes) -> bytes:
        """The right answer to a question, both as function code and data."""
        function = question[0]
        if len(question) != 5 or function not in {*_FUNCTION_TABLE, 5, 6}:
            return refusal(function, ILLEGAL_FUNCTION)
        register, value = struct.unpack(">HH", question[1:])
        self.asked.append(Asked(unit, function, register, value))
        if function in _FUNCTION_TABLE:
            return self._read(unit, function, register, value)
        return self._write(unit, question, register, value)

    def _read(self, unit: int, function: int, register: int, count: int) -> bytes:
        table = _FUNCTION_TABLE[function]
        most = 2000 if function in (1, 2) else 125
        if not 1 <= count <= most:
            return refusal(function, ILLEGAL_VALUE)
        places = [(unit, table, number) for number in range(register, register + count)]
        if any(place not in self.values for place in places):
            return refusal(function, ILLEGAL_ADDRESS)
        found = [self.values[place] for place in places]
        data = packed_bits(found) if function in (1, 2) else struct.pack(f">{count}H", *found)
        return bytes((function, len(data))) + data

    def _write(self, unit: int, question: bytes, register: int, value: int) -> bytes:
        function = question[0]
        place = (unit, "coil" if function == 5 else "holding", register)
        if place not in self.values:
            return refusal(function, ILLEGAL_ADDRESS)
        if function == 5 and value not in (COIL_ON, COIL_OFF):
            return refusal(function, ILLEGAL_VALUE)
        self.values[place] = int(value == COIL_ON) if function == 5 else value
        return question


def refusal(function: int, code: int) -> bytes:
    """An exception: the function code with its top bit set, and the code."""
    return bytes((function | 0x80, code))


def resized(answer: bytes, by_bytes: int) -> bytes:
    """An answer to a read with more or less data, its byte count in agreement."""
    data = (answer[2:] + bytes(2))[: len(answer) - 2 + by_bytes]
    return bytes((answer[0], len(data))) + data


def packed_bits(bits: Iterable[int]) -> bytes:
    """Bits as they travel: eight a byte, the first in the lowest place."""
    states = list(bits)
    packed = bytearray((len(states) + 7) // 8)
    for place, state in enumerate(states):
        packed[place // 8] |= (state & 1) << (place % 8)
    return bytes(packed)
