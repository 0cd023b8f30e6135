"""Modbus modules on a serial bus that misbehave on demand, on a real pseudo-terminal.

For tests, and for trying `curehold check` without a module. Written from the
standard with a checksum of its own, bit by bit, so that an error in ours, or in
pymodbus, cannot cancel out. A pseudo-terminal has no baud rate and takes no
parity: give `parity = "none"`.

Source:
    Modbus over Serial Line V1.02, section 2.5.1 and 6.2 (frame, checksum).
"""

import asyncio
import os
import select
import struct
import tty
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import Enum, auto
from pathlib import Path

from drivers.modbus.fake_units import Asked, FakeUnits, Place, refusal, resized

__all__ = ["Asked", "FakeBus", "RtuFault", "frame"]

_READ_BYTES = 4096
_HEARD_BYTES_MAX = 512
_ASK_ANOTHER = 1  # the second master asks for the registers this much further on


class RtuFault(Enum):
    """What a module does instead of answering."""

    SILENT = auto()
    LATE = auto()  # the answer comes just before the next one on the bus, or by `release`
    SPLIT_LATE = auto()  # half of it at once, half as LATE
    TRICKLED = auto()  # the right answer, byte by byte
    GARBAGE_BEFORE = auto()  # noise, then the right answer
    GARBAGE = auto()
    WRONG_CRC = auto()
    HALF_THEN_SILENT = auto()
    FOREIGN_UNIT = auto()
    FOREIGN_FUNCTION = auto()
    SHORT_COUNT = auto()
    LONG_COUNT = auto()
    DOUBLED = auto()
    DOUBLED_LATE = auto()  # the right answer, and again as LATE
    SECOND_MASTER = auto()  # asks the same module for something else first, and has its answer
    SECOND_MASTER_UNHEARD = auto()  # only its answer is heard, then the right one
    REFUSE = auto()
    GATEWAY_SILENT = auto()


class FakeBus(FakeUnits):
    """Serves registers and bits behind one serial port, with faults by unit.

    Attributes:
        values: registers 0 to 65535 and bits 0 or 1 by (unit, table, number);
            may be changed at any time. A unit that has none keeps silent, what
            else is not there is refused.
        faults: by unit; a unit without one answers well.
        delays_s: how long a unit takes before its answer, by unit; real time.
        echoes: the adapter hands back what is sent.
        mutate: changes the bytes of every answer before they go out.
        asked: the newest requests, oldest first.
        device: the port's path, the same after `stop` and `start`.
    """

    def __init__(self, values: Mapping[Place, int], link: Path) -> None:
        """Nothing is plugged in yet.

        Args:
            values: what the modules hold.
            link: where the port's link is made, as udev does; must not be there.
        """
        super().__init__(values)
        self.faults: dict[int, RtuFault] = {}
        self.delays_s: dict[int, float] = {}
        self.echoes = False
        self.mutate: Callable[[bytes], bytes] | None = None
        self.device = str(link)
        self._link = link
        self._far = self._near = -1
        self._heard = b""
        self._owed = bytearray()
        self._later: set[asyncio.TimerHandle] = set()
        self._news = asyncio.Condition()
        self._telling: set[asyncio.Task[None]] = set()

    async def start(self) -> None:
        """Plug the adapter in; the port has another name each time behind the same link."""
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        os.set_blocking(self._far, False)
        self._link.symlink_to(os.ttyname(self._near))
        asyncio.get_running_loop().add_reader(self._far, self._readable)

    async def stop(self) -> None:
        """Pull the adapter out; twice is no error."""
        if self._far < 0:
            return
        asyncio.get_running_loop().remove_reader(self._far)
        for handle in self._later:
            handle.cancel()
        self._later.clear()
        self._heard, self._owed = b"", bytearray()
        self._link.unlink()
        os.close(self._far)
        os.close(self._near)
        self._far = self._near = -1
        await asyncio.gather(*self._telling)

    async def seen(self, wanted: Callable[["FakeBus"], bool]) -> None:
        """Return when `wanted` holds; looked at after each request."""
        async with self._news:
            await self._news.wait_for(lambda: wanted(self))

    def release(self) -> None:
        """What is owed goes out now."""
        self.say(b"")

    def say(self, data: bytes) -> None:
        """Put bytes on the wire, after those owed."""
        self._put(bytes(self._owed) + data)
        self._owed.clear()

    def _readable(self) -> None:
        with suppress(BlockingIOError):
            came = os.read(self._far, _READ_BYTES)
            if self.echoes:
                self._put(came)
            self._heard = (self._heard + came)[-_HEARD_BYTES_MAX:]
        while question := self._next_question():
            self._serve(question)

    def _next_question(self) -> bytes:
        for start in range(len(self._heard)):
            for end in _ends(self._heard, start):
                found = self._heard[start:end]
                if len(found) == end - start and found == frame(found[0], found[1:-2]):
                    self._heard = self._heard[end:]
                    return found
        return b""

    def _serve(self, question: bytes) -> None:
        unit = question[0]
        if any(place[0] == unit for place in self.values):
            answer = self.answer(unit, question[1:-2])
            delay_s = self.delays_s.get(unit, 0.0)
            if delay_s:
                loop = asyncio.get_running_loop()
                self._later.add(loop.call_later(delay_s, self._respond, question, answer))
            else:
                self._respond(question, answer)
        telling = asyncio.ensure_future(self._tell())
        self._telling.add(telling)
        telling.add_done_callback(self._telling.discard)

    def _respond(self, question: bytes, answer: bytes) -> None:
        fault = self.faults.get(question[0])
        now, later = frame(question[0], answer), b""
        if fault is not None:
            now, later = misbehave(fault, question, answer, self._other_answer(question))
        if now and self.mutate is not None:
            now = self.mutate(now)
        if fault is RtuFault.TRICKLED:
            self._trickle(now)
        elif now:
            self.say(now)
        self._owed += later

    def _other_answer(self, question: bytes) -> tuple[bytes, bytes]:
        """What another master asks the same unit, and what it is answered."""
        unit, function, register, count = struct.unpack(">BBHH", question[:6])
        asked = struct.pack(">BHH", function, register + _ASK_ANOTHER, count)
        other = FakeUnits(self.values).answer(unit, asked) if function <= 4 else asked
        return frame(unit, asked), frame(unit, other)

    def _trickle(self, data: bytes) -> None:
        if data and self._far >= 0:
            self._put(data[:1])
            loop = asyncio.get_running_loop()
            self._later.add(loop.call_later(0, self._trickle, data[1:]))

    def _put(self, data: bytes) -> None:
        if self._far < 0:
            return
        # Nobody may be listening: then it is lost, as on any wire.
        with suppress(BlockingIOError):
            os.write(self._far, data)
        # Asking makes the kernel hand over at once what it still holds.
        select.select([self._near], [], [], 0)

    async def _tell(self) -> None:
        async with self._news:
            self._news.notify_all()


def misbehave(
    fault: RtuFault, question: bytes, answer: bytes, other: tuple[bytes, bytes]
) -> tuple[bytes, bytes]:
    """What really goes out.

    Args:
        fault: of the unit asked.
        question: the whole frame of the request.
        answer: function code and data of the right answer.
        other: whole frames of what another master asks, and of its answer.

    Returns:
        The bytes to send now, and those owed until the next answer on the bus.
    """
    unit, function = question[0], question[1]
    right = frame(unit, answer)
    half = len(right) // 2
    noise = b"\xa5\x5a" * 20
    outcomes = {
        RtuFault.SILENT: (b"", b""),
        RtuFault.LATE: (b"", right),
        RtuFault.SPLIT_LATE: (right[:half], right[half:]),
        RtuFault.TRICKLED: (right, b""),
        RtuFault.GARBAGE_BEFORE: (b"\x00\xff\x01" + right, b""),
        RtuFault.GARBAGE: (noise, b""),
        RtuFault.WRONG_CRC: (right[:-1] + bytes((right[-1] ^ 1,)), b""),
        RtuFault.HALF_THEN_SILENT: (right[:half], b""),
        RtuFault.FOREIGN_UNIT: (frame(unit ^ 8, answer), b""),
        RtuFault.FOREIGN_FUNCTION: (frame(unit, bytes((answer[0] ^ 7,)) + answer[1:]), b""),
        RtuFault.SHORT_COUNT: (frame(unit, resized(answer, -2)), b""),
        RtuFault.LONG_COUNT: (frame(unit, resized(answer, 2)), b""),
        RtuFault.DOUBLED: (right + right, b""),
        RtuFault.DOUBLED_LATE: (right, right),
        RtuFault.SECOND_MASTER: (b"".join(other) + right, b""),
        RtuFault.SECOND_MASTER_UNHEARD: (other[1] + right, b""),
        RtuFault.REFUSE: (frame(unit, refusal(function, 4)), b""),
        RtuFault.GATEWAY_SILENT: (frame(unit, refusal(function, 0x0B)), b""),
    }
    return outcomes[fault]


def frame(unit: int, body: bytes) -> bytes:
    """A whole frame around function code and data."""
    content = bytes((unit,)) + body
    crc = 0xFFFF
    for byte in content:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return content + bytes((crc & 0xFF, crc >> 8))


def _ends(data: bytes, start: int) -> tuple[int, ...]:
    """Where a request that begins here may end."""
    function = data[start + 1] if start + 1 < len(data) else 0
    if 1 <= function <= 6:
        return (start + 8,)
    if function in (15, 16) and start + 6 < len(data):
        return (start + 9 + data[start + 6],)
    return ()
