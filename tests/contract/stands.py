"""A link with a misbehaving other side; one class per driver, one shape for all."""

import asyncio
import random
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Protocol

from drivers.base import Link
from drivers.modbus import OutputSettings, PointSettings, TcpSettings, open_link
from drivers.modbus.fake import FakeServer, Fault
from tests.virtual_clock import VirtualClock, settle

GUARD_S = 20.0


class Stand(Protocol):
    """What the contract suite needs of a driver and its fake.

    Attributes:
        link: with two points and one output, named in `READS` and `OUTPUT`.
        clock: the link's clock.
        truth: what the points read when all is well.
    """

    link: Link
    clock: VirtualClock
    truth: dict[str, float]

    def misbehave(self, how: str) -> None:
        """Every unit does `how` from now on, until `well`."""

    async def hang_up(self) -> None:
        """End the connection; the other side stays."""

    async def unplug(self) -> None:
        """Take the other side away."""

    async def replug(self) -> None:
        """Bring it back at the same place."""

    def mutate(self, dice: random.Random) -> Callable[[], dict[str, float] | None]:
        """Change every answer by `dice`; the result tells what the last one legally said.

        None when nothing in it may be believed.
        """

    def well(self) -> None:
        """Undo `mutate` and `misbehave`."""

    def asked(self) -> int:
        """How many questions came to the other side."""


READS = ("pad_inner_c", "pad_outer_c")
OUTPUT = "heat_permit"
MODBUS_FAULTS = {
    "silence": Fault.SILENT,
    "late": Fault.LATE,
    "late in two parts": Fault.SPLIT_LATE,
    "foreign transaction": Fault.FOREIGN_TRANSACTION,
    "transaction zero": Fault.ZERO_TRANSACTION,
    "foreign unit": Fault.FOREIGN_UNIT,
    "foreign function": Fault.FOREIGN_FUNCTION,
    "too little": Fault.SHORT_COUNT,
    "too much": Fault.LONG_COUNT,
    "garbage": Fault.GARBAGE,
    "half an answer": Fault.HALF_THEN_SILENT,
    "half, then gone": Fault.HALF_THEN_CLOSE,
    "refusal": Fault.REFUSE,
    "gateway says silent": Fault.GATEWAY_SILENT,
}


class ModbusStand:
    """Two thermocouple inputs and a relay behind one fake server; values invented."""

    def __init__(self, timeout_s: float = 0.1, period_s: float = 1.0) -> None:
        self.clock = VirtualClock()
        self.truth = {"pad_inner_c": 140.1, "pad_outer_c": 139.2}
        self.fake = FakeServer(
            {(1, "input", 0): 1401, (1, "input", 1): 1392, (3, "coil", 0): 0},
        )
        self._times = {"timeout_s": timeout_s, "period_s": period_s, "hold_s": 3 * period_s}

    async def start(self) -> None:
        await self.fake.start()
        self.link = open_link(
            "bay",
            TcpSettings(host="127.0.0.1", port=self.fake.port, **self._times),
            {
                name: PointSettings(
                    unit=1, table="input", register=place, type="int16", scale=0.1, open_at=32767
                )
                for place, name in enumerate(READS)
            },
            {OUTPUT: OutputSettings(unit=3, register=0, token="bay-1")},
            self.clock,
        )

    async def stop(self) -> None:
        await self.link.close()
        await self.fake.stop()

    def well(self) -> None:
        self.fake.mutate = None
        self.fake.faults = {}

    def misbehave(self, how: str) -> None:
        self.fake.faults = dict.fromkeys((1, 3), MODBUS_FAULTS[how])

    async def hang_up(self) -> None:
        await self.fake.hang_up()

    async def unplug(self) -> None:
        await self.fake.stop()
        await settle()

    async def replug(self) -> None:
        await self.fake.start()

    def asked(self) -> int:
        return len(self.fake.asked)

    def mutate(self, dice: random.Random) -> Callable[[], dict[str, float] | None]:
        legal: dict[str, float] | None = None

        def mutated(answer: bytes) -> bytes:
            nonlocal legal
            changed = bruised(answer, dice)
            if answer[7] == 4:  # the thermocouple inputs, not the relay's read-back
                legal = self._legal(answer, changed)
            return changed

        self.fake.mutate = mutated
        return lambda: legal

    def _legal(self, answer: bytes, changed: bytes) -> dict[str, float] | None:
        # Modbus TCP has no checksum: data changed under a whole header cannot be known.
        if changed[:9] != answer[:9] or len(changed) < len(answer):
            return None
        words = (changed[9:11], changed[11:13])
        values = (int.from_bytes(word, "big", signed=True) * 0.1 for word in words)
        return dict(zip(READS, values, strict=True))


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


@asynccontextmanager
async def running(link: Link) -> AsyncIterator[asyncio.Task[None]]:
    """The link's own task, cancelled and awaited at the end."""
    task = asyncio.create_task(link.run())
    try:
        yield task
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        await settle()


async def polls(link: Link, clock: VirtualClock, count: int) -> None:
    """Let a running link make `count` more polls, a second apart, each to its end."""
    for _ in range(count):
        await clock.advance(1.0)
        await at_rest(clock)


async def at_rest(clock: VirtualClock) -> None:
    """Return when a running link's poll is over: then both of its loops are asleep."""
    async with asyncio.timeout(GUARD_S):
        while clock.sleepers < 2:
            await settle()


async def within(what: Awaitable[object]) -> None:
    """Await, but not for ever."""
    async with asyncio.timeout(GUARD_S):
        await what
