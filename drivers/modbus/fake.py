"""A Modbus TCP server that misbehaves on demand, on a real socket.

For tests, and for trying `curehold check` without a module. Written from the
standard with `struct` alone, so that an error in our codec, or in pymodbus,
cannot cancel out. Numbers and values are the caller's; nothing here is a rig.

Source:
    Modbus Application Protocol V1.1b3, section 6 (functions 1 to 6) and 7
    (exceptions); Modbus Messaging on TCP/IP Implementation Guide V1.0b,
    section 3.1 (header).
"""

import asyncio
import struct
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum, auto

REQUESTS_KEPT_MAX = 100_000
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
COIL_ON, COIL_OFF = 0xFF00, 0x0000
_FUNCTION_TABLE = {1: "coil", 2: "discrete", 3: "holding", 4: "input"}

Place = tuple[int, str, int]


class Fault(Enum):
    """What a unit does instead of answering."""

    SILENT = auto()
    LATE = auto()  # the answer comes just before the next answer on that connection
    SPLIT_LATE = auto()  # half of it at once, half just before the next answer
    FOREIGN_TRANSACTION = auto()
    ZERO_TRANSACTION = auto()
    FOREIGN_UNIT = auto()
    FOREIGN_FUNCTION = auto()
    SHORT_COUNT = auto()
    LONG_COUNT = auto()
    GARBAGE = auto()
    HALF_THEN_SILENT = auto()
    HALF_THEN_CLOSE = auto()
    REFUSE = auto()
    GATEWAY_SILENT = auto()


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as it came: `value` is the count of a read, or what was written."""

    unit: int
    function: int
    register: int
    value: int


class FakeServer:
    """Serves registers and bits on 127.0.0.1, with faults by unit.

    Attributes:
        values: registers 0 to 65535 and bits 0 or 1 by (unit, table, number);
            may be changed at any time. What is not there is refused.
        faults: by unit; a unit without one answers well.
        mutate: changes the bytes of every answer before they go out.
        asked: the newest requests, oldest first.
        port: TCP port; chosen at the first `start`, then kept.
        connections: how many were ever accepted.
    """

    def __init__(self, values: Mapping[Place, int]) -> None:
        self.values = dict(values)
        self.faults: dict[int, Fault] = {}
        self.mutate: Callable[[bytes], bytes] | None = None
        self.asked: deque[Asked] = deque(maxlen=REQUESTS_KEPT_MAX)
        self.port = 0
        self.connections = 0
        self._server: asyncio.Server | None = None
        self._open: dict[asyncio.StreamWriter, asyncio.Task[None]] = {}
        self._news = asyncio.Condition()

    async def start(self) -> None:
        """Listen; after `stop`, on the same port again."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        """Pull the plug: no listener, and every connection reset."""
        if self._server is not None:
            self._server.close()
            await self._server.wait_closed()
            self._server = None
        await self.hang_up()

    async def hang_up(self) -> None:
        """Reset every connection; the listener stays."""
        serving = tuple(self._open.values())
        for writer in tuple(self._open):
            writer.transport.abort()
        await asyncio.gather(*serving)

    async def seen(self, wanted: Callable[["FakeServer"], bool]) -> None:
        """Return when `wanted` holds; looked at after each request."""
        async with self._news:
            await self._news.wait_for(lambda: wanted(self))

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is None:
            raise RuntimeError("served outside a task; start the server with start()")
        self._open[writer] = task
        self.connections += 1
        owed = bytearray()
        try:
            # The other side may go away at any time; that ends this connection only.
            with suppress(asyncio.IncompleteReadError, ConnectionError):
                while await self._serve_one(reader, writer, owed):
                    pass
        finally:
            del self._open[writer]
            writer.transport.abort()
            with suppress(ConnectionError):
                await writer.wait_closed()

    async def _serve_one(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, owed: bytearray
    ) -> bool:
        transaction, protocol, length, unit = struct.unpack(">HHHB", await reader.readexactly(7))
        if protocol != 0 or not 2 <= length <= 254:
            return False
        question = await reader.readexactly(length - 1)
        answer = self._answer(unit, question)
        now, later, stays = misbehave(self.faults.get(unit), (transaction, unit), question, answer)
        if now and self.mutate is not None:
            now = self.mutate(now)
        if now:
            writer.write(bytes(owed) + now)
            owed.clear()
        owed += later
        await writer.drain()
        async with self._news:
            self._news.notify_all()
        return stays

    def _answer(self, unit: int, question: bytes) -> bytes:
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


def misbehave(
    fault: Fault | None, header: tuple[int, int], question: bytes, answer: bytes
) -> tuple[bytes, bytes, bool]:
    """What really goes out.

    Args:
        fault: of the unit asked, or None.
        header: transaction number and unit of the request.
        question: function code and data of the request.
        answer: function code and data of the right answer.

    Returns:
        The bytes to send now, those owed until the next answer, and whether
        the connection stays.
    """
    transaction, unit = header
    function = question[0]
    right = frame(transaction, unit, answer)
    half = len(right) // 2
    outcomes = {
        None: (right, b"", True),
        Fault.SILENT: (b"", b"", True),
        Fault.LATE: (b"", right, True),
        Fault.SPLIT_LATE: (right[:half], right[half:], True),
        Fault.FOREIGN_TRANSACTION: (frame(transaction ^ 0x0101, unit, answer), b"", True),
        Fault.ZERO_TRANSACTION: (frame(0, unit, answer), b"", True),
        Fault.FOREIGN_UNIT: (frame(transaction, unit ^ 1, answer), b"", True),
        Fault.FOREIGN_FUNCTION: (
            frame(transaction, unit, bytes((answer[0] ^ 7,)) + answer[1:]),
            b"",
            True,
        ),
        Fault.SHORT_COUNT: (frame(transaction, unit, resized(answer, -2)), b"", True),
        Fault.LONG_COUNT: (frame(transaction, unit, resized(answer, 2)), b"", True),
        Fault.GARBAGE: (b"\xa5\x5a" * 20, b"", True),
        Fault.HALF_THEN_SILENT: (right[:half], b"", True),
        Fault.HALF_THEN_CLOSE: (right[:half], b"", False),
        Fault.REFUSE: (frame(transaction, unit, refusal(function, 4)), b"", True),
        Fault.GATEWAY_SILENT: (frame(transaction, unit, refusal(function, 0x0B)), b"", True),
    }
    return outcomes[fault]


def frame(transaction: int, unit: int, body: bytes) -> bytes:
    """A whole frame around function code and data."""
    return struct.pack(">HHHB", transaction, 0, len(body) + 1, unit) + body


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
