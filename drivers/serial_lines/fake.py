"""A small board that sends lines over a real pseudo-terminal, and misbehaves on demand.

For tests, and for trying `curehold check` without a board. Written from
docs/board-lines.md alone, with a checksum of its own, so that an error in our
codec cannot cancel out. Names and values are the caller's; nothing here is a rig.

Source:
    Modbus over Serial Line V1.02, section 6.2.1 (the checksum, bit by bit).
"""

import os
import select
import tty
from collections import deque
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import Enum, auto
from pathlib import Path

from drivers.base import Clock

NS_PER_S = 1_000_000_000
LINES_KEPT_MAX = 10_000
REPLAYED_LINES = 5
FLOOD_BYTES = 20_000


class Fault(Enum):
    """What the board does instead of sending its next line."""

    SILENT = auto()
    GARBAGE = auto()  # bytes of every value, as at a wrong baud rate
    NULS = auto()
    WRONG_CHECKSUM = auto()
    NO_CHECKSUM = auto()
    HALF = auto()  # half of it, and its end never
    SPLIT = auto()  # half of it now, half just before the next one
    TOO_LONG = auto()
    NO_END = auto()  # letters for ever
    FLOOD = auto()  # good lines, much faster than allowed
    TWICE = auto()  # each line two times: no fault, the second is not new
    STUCK = auto()  # the number does not move, the values do
    STALE = auto()  # the oldest line again and again
    REPLAY = auto()  # the next line, and behind it those before it again: no fault
    ONE_TWICE = auto()  # one key, or one column, too many


class FakeBoard:
    """Sends lines into one end of a pseudo-terminal; the other is found at `path`.

    Attributes:
        path: a symbolic link, as udev makes them; stays when the terminal changes.
        values: the text sent for each key or column, in order; may be changed.
        number: of the next line.
        fault: what is wrong with it, or None.
        mutate: changes the bytes of every line before they go out.
        said: the newest lines as they should have gone out, oldest first.
        lost_bytes: bytes the kernel had no room for.
    """

    def __init__(
        self, path: Path, values: Mapping[str, str], form: str = "key_value", number: int = 0
    ) -> None:
        """Nothing is plugged in yet.

        Args:
            path: where the board is to be found.
            values: the text sent for each key or column, in order.
            form: `key_value` or `csv`.
            number: of the first line.
        """
        self.path = path
        self.values = dict(values)
        self.number = number
        self.fault: Fault | None = None
        self.mutate: Callable[[bytes], bytes] | None = None
        self.said: deque[bytes] = deque(maxlen=LINES_KEPT_MAX)
        self.lost_bytes = 0
        self._form = form
        self._owed = b""
        self._ends: tuple[int, int] | None = None

    def plug(self) -> None:
        """Appear at `path`; after `unplug`, as another terminal."""
        ours, theirs = os.openpty()
        os.set_blocking(ours, False)
        tty.setraw(theirs)
        self._ends = ours, theirs
        beside = self.path.with_name(f"{self.path.name}.new")
        beside.symlink_to(os.ttyname(theirs))
        beside.replace(self.path)

    def unplug(self) -> None:
        """Go away, as an adapter that is pulled out does; twice is no error."""
        self._owed = b""
        if self._ends is not None:
            self.path.unlink(missing_ok=True)
            for end in self._ends:
                os.close(end)
            self._ends = None

    def say(self) -> bytes:
        """Send the next line, or what `fault` makes of it.

        Returns:
            The line as it should have gone out, with its end.
        """
        line = self.line()
        self.said.append(line)
        self.send(self._misbehaved(line))
        return line

    async def talk(self, clock: Clock, every_s: float) -> None:
        """Send a line at once and one every `every_s`, until cancelled."""
        due_ns = clock.now_ns()
        while True:
            await clock.sleep_until(due_ns)
            self.say()
            due_ns += round(every_s * NS_PER_S)

    def restart(self, number: int = 0) -> None:
        """Count from `number` again, as after a loss of power."""
        self.number = number
        self._owed = b""

    def send(self, data: bytes) -> None:
        """Send bytes; like a wire it never waits, what finds no room is lost."""
        if self._ends is None:
            return
        ours, theirs = self._ends
        sent = 0
        with suppress(BlockingIOError):
            while sent < len(data):
                sent += os.write(ours, data[sent:])
        self.lost_bytes += len(data) - sent
        # Asking makes the kernel hand over at once what it holds for the other end.
        select.select([theirs], [], [], 0)

    def line(self) -> bytes:
        """The next line, whole and right; its number is used up."""
        number = self.number
        if self.fault is not Fault.STUCK:
            self.number = (number + 1) % 65536
        return board_line(self._form, number, self.values)

    def _misbehaved(self, line: bytes) -> bytes:
        if self.mutate is not None:
            line = self.mutate(line)
        half = len(line) // 2
        owed, self._owed = self._owed, b""
        match self.fault:
            case None | Fault.STUCK:
                return owed + line
            case Fault.SPLIT:
                self._owed = line[half:]
                return owed + line[:half]
            case Fault.STALE:
                return self.said[0]
            case Fault.REPLAY:
                return b"".join((line, *tuple(self.said)[-REPLAYED_LINES:]))
            case Fault.FLOOD:
                return b"".join(self.line() for _ in range(FLOOD_BYTES // len(line)))
            case Fault.ONE_TWICE:
                (key, text), *_ = self.values.items()
                more = f" {key}={text}" if self._form == "key_value" else f",{text}"
                return board_line(self._form, self.number, self.values, more)
        return _instead(self.fault, line)


def _instead(fault: Fault, line: bytes) -> bytes:
    half = len(line) // 2
    outcomes = {
        Fault.SILENT: b"",
        Fault.GARBAGE: bytes(range(256)) + b"\n",
        Fault.NULS: bytes(len(line)) + b"\n",
        Fault.WRONG_CHECKSUM: line[:half] + bytes((line[half] ^ 0x01,)) + line[half + 1 :],
        Fault.NO_CHECKSUM: line[: -len("crc=0000\n") - 1] + b"\n",
        Fault.HALF: line[:half],
        Fault.TOO_LONG: line[:-1] + b"0" * 2000 + b"\n",
        Fault.NO_END: b"x" * len(line),
        Fault.TWICE: line + line,
    }
    return outcomes[fault]


def board_line(form: str, number: int, values: Mapping[str, str], more: str = "") -> bytes:
    """One line with its checksum and end.

    Args:
        form: `key_value` or `csv`.
        number: its sequence number.
        values: text by key or column.
        more: text before the checksum that does not belong there.
    """
    if form == "csv":
        body = ",".join((str(number), *values.values())) + more
        return f"{body},{bitwise_checksum(body.encode()):04X}\n".encode()
    body = " ".join((f"seq={number}", *(f"{key}={text}" for key, text in values.items()))) + more
    return f"{body} crc={bitwise_checksum(body.encode()):04X}\n".encode()


def bitwise_checksum(data: bytes) -> int:
    """The checksum, bit by bit as the standard draws it."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            carry = register & 1
            register >>= 1
            if carry:
                register ^= 0xA001
    return register
