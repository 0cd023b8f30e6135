"""A serial bus on a real pseudo-terminal, its connection, and a clock that a test moves.

The modules and all values are invented.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from drivers.base import Clock
from drivers.modbus.codec import Request
from drivers.modbus.fake_rtu import FakeBus
from drivers.modbus.registers import OutputSettings, RtuSettings
from drivers.modbus.rtu import RtuConnection
from drivers.modbus.rtu_bus import Bus
from tests.virtual_clock import VirtualClock

GUARD_S = 10.0
TIMEOUT_S = 0.05
LATE_S = 2.0
# Two reads of one module whose answers have one shape, and the relay's coil.
INNER = Request(1, "input", 0, 2, ())
OUTER = Request(1, "input", 2, 2, ())
OTHER = Request(2, "input", 0, 2, ())
COIL = Request(3, "coil", 0, 1, ())
HEAT = OutputSettings(unit=3, register=0, token="bay-1")
TRUTH = {INNER: (1400, 1401), OUTER: (1402, 1403), OTHER: (700, 701)}
VALUES = {
    **{(1, "input", number): 1400 + number for number in range(5)},
    **{(2, "input", number): 700 + number for number in range(3)},
    (3, "coil", 0): 0,
    (3, "coil", 1): 0,
    (3, "holding", 40): 0,
}


class Bench:
    """Attributes: `fake` the bus, `clock`, `connection` open on it, its `settings`."""

    def __init__(self, fake: FakeBus, clock: Clock, settings: RtuSettings) -> None:
        self.fake = fake
        self.settings = settings
        self._bus = Bus(settings.late_s, clock)
        self.connection = RtuConnection(settings, self._bus)

    async def reopened(self) -> RtuConnection:
        """Another connection to the same bus."""
        self.connection.close()
        self.connection = RtuConnection(self.settings, self._bus)
        await self.connection.open()
        return self.connection


@asynccontextmanager
async def bench(
    folder: Path,
    clock: Clock,
    *,
    timeout_s: float = TIMEOUT_S,
    late_s: float = LATE_S,
    baud_rate: int = 19200,
) -> AsyncIterator[Bench]:
    """A bus with modules 1, 2 and 3 that answer well."""
    fake = FakeBus(VALUES, folder / "usb-bus")
    await fake.start()
    settings = RtuSettings(
        device=fake.device,
        baud_rate=baud_rate,
        parity="none",
        timeout_s=timeout_s,
        late_s=late_s,
    )
    made = Bench(fake, clock, settings)
    await made.connection.open()
    try:
        async with asyncio.timeout(GUARD_S):
            yield made
    finally:
        made.connection.close()
        await fake.stop()


class LoopClock(VirtualClock):
    """The event loop's own time, for a bus whose delays are real."""

    def now_ns(self) -> int:
        """Now, ns."""
        return round(asyncio.get_running_loop().time() * 1e9)
