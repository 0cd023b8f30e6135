"""A Modbus TCP server that misbehaves on demand, on a real socket.

For tests, and for trying `curehold check` without a module. Written from the
standard with `struct` alone, so that an error in our codec, or in pymodbus,
cannot cancel out. Numbers and values are the caller's; nothing here is a rig.

Source:
    Modbus Messaging on TCP/IP Implementation Guide V1.0b,
    section 3.1 (header).
"""

import asyncio
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import Enum, auto

from drivers.modbus.fake_units import Asked, FakeUnits, Place, refusal, resized

__all__ = ["Asked", "FakeServer", "Fault", "frame", "misbehave"]


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


class FakeServer(FakeUnits):
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
        super().__init__(values)
        self.faults: dict[int, Fault] = {}
        self.mutate: Callable[[bytes], bytes] | None = None
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
        answer = self.answer(unit, question)
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
