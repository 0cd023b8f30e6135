"""A chip with lines that misbehave on demand, at the boundary of `lines.Lines`; for tests.

Edges come over a real pipe, so that the event loop really watches something.
The queue of edges is as short as the kernel's for one line and loses its oldest first.
"""

import errno
import os
from collections import Counter, deque

from drivers.base import LinkDown
from drivers.gpio.codec import Edge
from drivers.gpio.registers import LineSettings, Wanted

QUEUE_EDGES = 16


class FakeChip:
    """The chip and what is soldered to it; `request` is what a link opens.

    Attributes:
        volts: electrical level of each line, high or low; outputs write here.
        written: every write to an output as (line, high), in order.
        stuck: outputs whose level follows no write.
        deaf: lines whose edges are lost though their level changes.
        there: False while unplugged.
        busy: another program holds the lines.
    """

    def __init__(self) -> None:
        """All lines low, nobody holds them."""
        self.volts: dict[int | str, bool] = {}
        self.written: list[tuple[int | str, bool]] = []
        self.stuck: set[int | str] = set()
        self.deaf: set[int | str] = set()
        self.there = True
        self.busy = False
        self._held: FakeLines | None = None

    @property
    def held(self) -> bool:
        """Whether somebody holds the lines."""
        return self._held is not None

    def request(self, wanted: Wanted) -> "FakeLines":
        """The lines; outputs are written off."""
        if not self.there:
            raise LinkDown(f"{wanted.chip}: no such chip")
        if self.busy or self._held is not None:
            raise LinkDown(f"{wanted.chip}: in use by another program")
        self._held = FakeLines(self, wanted)
        return self._held

    def drive(self, line: int | str, *, high: bool) -> None:
        """Someone outside pulls a line high or low."""
        changed = self.volts.get(line, False) != high
        self.volts[line] = high
        if changed and self._held is not None:
            self._held.changed(line, high=high, heard=line not in self.deaf)

    def unplug(self) -> None:
        """The chip goes, under whoever holds it."""
        self.there = False
        if self._held is not None:
            self._held.hang_up()

    def replug(self) -> None:
        """The chip is back."""
        self.there = True

    def write(self, line: int | str, *, high: bool) -> None:
        """An output drives its line."""
        self.written.append((line, high))
        if line not in self.stuck:
            self.volts[line] = high

    def let_go(self) -> None:
        """Whoever held the lines gave them back."""
        self._held = None


class FakeLines:
    """Implements `lines.Lines`; made by `FakeChip.request`."""

    def __init__(self, chip: FakeChip, wanted: Wanted) -> None:
        self._chip = chip
        self._entries: dict[str, LineSettings] = {**wanted.inputs, **wanted.outputs}
        self._inputs = {one.line: name for name, one in wanted.inputs.items()}
        self._queue: deque[Edge] = deque(maxlen=QUEUE_EDGES)
        self._numbers: Counter[str] = Counter()
        self._gone = False
        self._released = False
        self._in, self._out = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        for output in wanted.outputs.values():
            chip.write(output.line, high=output.inverted)

    @property
    def fd(self) -> int:
        """See `lines.Lines`."""
        return self._in

    def changed(self, line: int | str, *, high: bool, heard: bool) -> None:
        """A line changed its level; tells the reader, once for any number of edges."""
        name = self._inputs.get(line)
        if name is None or not heard:
            return
        self._numbers[name] += 1
        if not self._queue:
            os.write(self._out, b"!")
        self._queue.append(Edge(name, high != self._entries[name].inverted, self._numbers[name]))

    def hang_up(self) -> None:
        """The chip is gone: the descriptor becomes readable and stays so."""
        self._gone = True
        os.close(self._out)

    def edges(self) -> list[Edge]:
        """See `lines.Lines`."""
        self._check()
        if self._queue:
            os.read(self._in, 1)
        found = list(self._queue)
        self._queue.clear()
        return found

    def levels(self) -> dict[str, bool]:
        """See `lines.Lines`."""
        self._check()
        return {
            name: self._chip.volts.get(one.line, False) != one.inverted
            for name, one in self._entries.items()
        }

    def set(self, name: str, *, on: bool) -> None:
        """See `lines.Lines`."""
        self._check()
        entry = self._entries[name]
        self._chip.write(entry.line, high=on != entry.inverted)

    def release(self) -> None:
        """See `lines.Lines`."""
        if self._released:
            return
        self._released = True
        os.close(self._in)
        if not self._gone:
            os.close(self._out)
        self._chip.let_go()

    def _check(self) -> None:
        if self._gone:
            raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
