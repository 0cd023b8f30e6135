"""A link to a board on a real pseudo-terminal, for the tests of serial lines.

The board sends the time at which it sends, so that every good sample shows its own age.
"""

import asyncio
import heapq
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path

from daemon.clock import RealClock
from drivers.base import Link, Sample
from drivers.serial_lines import LinesSettings, PointSettings, open_link
from drivers.serial_lines.fake import FakeBoard
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

GUARD_S = 10.0
EVERY_S = 0.5
TIMEOUT_S = 3.0
LULL_S = 0.5  # two periods
TRUTH = {"pad_inner_c": 139.8, "here_button": 0.0}  # invented


class TimedBoard(FakeBoard):
    """A board that measures the time."""

    def __init__(self, path: Path, clock: VirtualClock | RealClock, form: str) -> None:
        values = {"sent_s": "", **{key: f"{value:g}" for key, value in TRUTH.items()}}
        super().__init__(path, values, form)
        self._clock = clock

    def line(self) -> bytes:
        self.values["sent_s"] = f"{self._clock.now_ns() / NS_PER_S:.6f}"
        return super().line()


class Bench:
    """A link, its board, and the virtual clock of both."""

    def __init__(self, folder: Path, form: str = "key_value") -> None:
        self.clock = VirtualClock()
        self.board = TimedBoard(folder / "board", self.clock, form)
        self.board.plug()
        columns = list(self.board.values) if form == "csv" else []
        self.link: Link = open_link(
            "board",
            LinesSettings(
                device=str(self.board.path), form=form, columns=columns, timeout_s=TIMEOUT_S
            ),
            {key: PointSettings(key=key) for key in self.board.values},
            {},
            self.clock,
        )

    def read(self, name: str = "pad_inner_c") -> Sample:
        return self.link.snapshot()[name]

    def reasons(self) -> set[str]:
        return {sample.reason for sample in self.link.snapshot().values()}

    async def advance(self, seconds: float) -> None:
        """Time passes in small steps; no good sample is ever older than it says."""
        for _ in range(round(seconds / 0.125)):
            await self.clock.advance(0.125)
            self.check()

    def check(self) -> None:
        """Both promises: no bad sample has a value, and no good one lies about its age."""
        for sample in self.link.snapshot().values():
            assert (sample.value is None) == (sample.quality == "bad")
        sent = self.link.snapshot()["sent_s"]
        if sent.value is not None:
            older_s = sent.at_ns / NS_PER_S - sent.value
            assert -1e-6 < older_s <= LULL_S + 1e-6, f"{older_s:.3f} s older than it says"
            assert sent.at_ns <= self.clock.now_ns()

    def hang(self, seconds: float) -> None:
        """This whole program stands still, and the board does not."""
        for _ in range(round(seconds / EVERY_S)):
            self.clock._now_ns += round(EVERY_S * NS_PER_S)
            self.board.say()
        self.wake_late()

    def wake_late(self) -> None:
        """Who should have slept until a time that was skipped wakes now, not in the past."""
        late = [(max(due_ns, self.clock.now_ns()), *who) for due_ns, *who in self.clock._sleepers]
        self.clock._sleepers = late
        heapq.heapify(self.clock._sleepers)


@asynccontextmanager
async def made_bench(folder: Path, form: str = "key_value") -> AsyncIterator[Bench]:
    """A bench that is cleared away at the end."""
    made = Bench(folder, form)
    yield made
    await made.link.close()
    made.board.unplug()
    await settle()


@asynccontextmanager
async def running(bench: Bench, *, talking: bool = True) -> AsyncIterator[asyncio.Task[None]]:
    """The link listens and, if told so, the board sends a line every half second."""
    tasks = [asyncio.create_task(bench.link.run())]
    if talking:
        tasks.append(asyncio.create_task(bench.board.talk(bench.clock, EVERY_S)))
    try:
        yield tasks[0]
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await settle()


@contextmanager
def real_bench(folder: Path, timeout_s: float) -> Iterator[tuple[Link, TimedBoard, RealClock]]:
    """The same in real time, quick enough for a test."""
    clock = RealClock()
    board = TimedBoard(folder / "board", clock, "key_value")
    link = open_link(
        "board",
        LinesSettings(device=str(board.path), form="key_value", period_s=0.05, timeout_s=timeout_s),
        {"pad_inner_c": PointSettings(key="pad_inner_c")},
        {},
        clock,
    )
    yield link, board, clock
    board.unplug()
