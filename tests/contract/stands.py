"""A link with a misbehaving other side: one class per kind of link, one shape for all.

All values are invented.
"""

import asyncio
import os
import random
from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from drivers.base import DriverError, Link
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

GUARD_S = 20.0
TERMINALS_MAX = 64
TIMEOUT_S, MOMENT_S = 0.1, 0.001
OUTPUT = "heat_permit"
TOKEN = "bay-1"
PADS_AND_BAGS = {
    "pad_inner_c": 140.0,
    "pad_outer_c": 139.0,
    "bag_inner_kpa": 207.0,
    "bag_outer_kpa": 206.0,
}
# What can go wrong on a wire, besides its being pulled out.
KINDS_OF_TROUBLE = (
    "silence",
    "late reply",
    "foreign reply",
    "garbage",
    "half an answer",
    "refusal",
)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing done to a wire, and what must come of it.

    Attributes:
        fault: the fake's own, or whatever its stand makes of it.
        kind: one of `KINDS_OF_TROUBLE`.
        reasons: which the readings then have, each of them seen; empty: good.
        write: the error of a write meanwhile; None: it is carried out.
    """

    fault: object
    kind: str
    reasons: frozenset[str]
    write: type[DriverError] | None = None

    @property
    def of_readings(self) -> bool:
        """Not of outputs alone."""
        return bool(self.reasons) or self.write is None


def trouble(
    fault: object, kind: str, *reasons: str, write: type[DriverError] | None = None
) -> Trouble:
    """A `Trouble` in one line."""
    return Trouble(fault, kind, frozenset(reasons), write)


class Stand(ABC):
    """What the contract suite needs of a link and its other side.

    Attributes:
        kind: as in a configuration.
        troubles: by what was done to the wire, in words for maintenance.
        impossible: kinds of trouble this wire cannot have, and why.
        offers: every fault the fake has.
        waits: the trouble that keeps a poll waiting; None where no poll waits.
        heals_s: how long after a trouble all is read again, s.
        older_s: how much older than it says a value may be, s.
        loops: tasks that sleep when a running link is at rest.
        output: it has one, named `OUTPUT`.
        threads: the link reads in threads, which take real time.
        first: what the points read at first.
        timeout_s: how long a link waits for an answer, in real time; read by `start`.
        moment_s: how often `rest` looks, in real time.
        clock: the link's.
        link: reads `first`.
    """

    kind: ClassVar[str]
    troubles: ClassVar[Mapping[str, Trouble]]
    impossible: ClassVar[Mapping[str, str]]
    offers: ClassVar[frozenset[object]]
    waits: ClassVar[str | None]
    heals_s: ClassVar[int]
    older_s: ClassVar[float] = 0.0
    loops: ClassVar[int] = 2
    output: ClassVar[bool] = False
    threads: ClassVar[bool] = False
    first: ClassVar[Mapping[str, float]] = PADS_AND_BAGS
    link: Link

    def __init__(self, folder: Path, clock: VirtualClock) -> None:
        self.folder = folder
        self.clock = clock
        self.timeout_s = TIMEOUT_S
        self.moment_s = MOMENT_S
        self.truth = dict(self.first)
        self._told = [(self.clock.now_ns(), dict(self.truth))]

    @abstractmethod
    async def start(self) -> None:
        """Make the other side and the link."""

    @abstractmethod
    async def stop(self) -> None:
        """Close the link and clear the other side away."""

    @abstractmethod
    def show(self, values: Mapping[str, float]) -> None:
        """The other side measures these from now on."""

    @abstractmethod
    def misbehave(self, how: str) -> None:
        """Do one of `troubles` from now on, until `well`."""

    @abstractmethod
    def well(self) -> None:
        """Undo `misbehave`."""

    @abstractmethod
    async def unplug(self) -> None:
        """Take the other side away."""

    @abstractmethod
    async def replug(self) -> None:
        """Bring it back; on a serial port under another name."""

    async def talk(self) -> None:
        """What the other side does unasked, until cancelled."""
        await asyncio.get_running_loop().create_future()

    def tell(self, values: Mapping[str, float]) -> None:
        """The other side measures these from now on, and it will be remembered."""
        self.truth = dict(values)
        self._told.append((self.clock.now_ns(), self.truth))
        self.show(self.truth)

    def move(self) -> None:
        """Every value becomes another, so that an old one shows."""
        self.tell({name: round(value + 0.1, 1) for name, value in self.truth.items()})

    def was_true(self, name: str, at_ns: int) -> set[float]:
        """What a value with this time may be."""
        since_ns = at_ns - round(self.older_s * NS_PER_S)
        ends = [begin_ns for begin_ns, _ in self._told[1:]] + [at_ns + 1]
        return {
            values[name]
            for (begin_ns, values), end_ns in zip(self._told, ends, strict=True)
            if begin_ns <= at_ns and end_ns >= since_ns
        }

    def check(self) -> None:
        """No bad sample has a value, and no good one a wrong value or time."""
        for name, sample in self.link.snapshot().items():
            assert (sample.value is None) == (sample.quality == "bad"), name
            assert sample.at_ns <= self.clock.now_ns()
            if name in self.truth and sample.value is not None:
                assert round(sample.value, 6) in self.was_true(name, sample.at_ns), name

    def good(self) -> bool:
        """Everything is read, and right."""
        self.check()
        return all(sample.quality == "good" for sample in self.link.snapshot().values())

    def reasons(self) -> set[str]:
        """Those of the readings; an output's may differ."""
        found = self.link.snapshot()
        return {found[name].reason for name in self.truth}

    @asynccontextmanager
    async def running(self) -> AsyncIterator[asyncio.Task[None]]:
        """The link's own task, and what the other side does unasked."""
        tasks = [asyncio.create_task(self.link.run()), asyncio.create_task(self.talk())]
        try:
            yield tasks[0]
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await settle()

    async def rest(self) -> None:
        """Return when a running link has nothing more to do now."""
        async with asyncio.timeout(GUARD_S):
            while self.clock.sleepers < self.loops:
                await moment(self.moment_s)
        await settle()

    async def pass_s(self, seconds: int) -> None:
        """Time passes, every value moving in the middle of each second."""
        for _ in range(seconds):
            await self.clock.advance(0.5)
            self.move()
            await self.clock.advance(0.5)
            await self.rest()
            self.check()

    async def poll_once(self) -> None:
        """One poll of a link that does not run, time passing as it needs it."""
        tasks = [asyncio.ensure_future(self.link.poll_once()), asyncio.create_task(self.talk())]
        async with asyncio.timeout(GUARD_S):
            while not tasks[0].done():
                await moment()
                if self.clock.sleepers:
                    await self.clock.advance(0.25)
        tasks[1].cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        tasks[0].result()
        self.check()


def bruised(answer: bytes, dice: random.Random) -> bytes:
    """The bytes with one to three of them changed, lost, doubled or added."""
    body = bytearray(answer)
    for _ in range(dice.randint(1, 3)):
        place = dice.randrange(len(body)) if body else 0
        match dice.randrange(4):
            case 0 if body:
                body[place] = dice.randrange(256)
            case 1 if body:
                del body[place]
            case 2 if body:
                body[place:place] = body[place : place + 1]
            case _:
                body[place:place] = bytes((dice.randrange(256),))
    return bytes(body)


class Names:
    """The name an adapter had, taken while it is away, so that it comes back under another."""

    def __init__(self) -> None:
        self._ends: list[int] = []
        self._was = ""

    def note(self, link: Path) -> None:
        """Remember where a symbolic link points to."""
        self._was = os.path.realpath(link)

    def take(self) -> None:
        """Open terminals until one has that name; somebody else may be quicker."""
        for _ in range(TERMINALS_MAX):
            if Path(self._was).exists():
                return
            self._ends += os.openpty()

    def give_back(self) -> None:
        """Close them all; twice is no error."""
        while self._ends:
            os.close(self._ends.pop())


async def moment(seconds: float = MOMENT_S) -> None:
    """Let real time pass: something real is waited for."""
    with suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            await asyncio.get_running_loop().create_future()
