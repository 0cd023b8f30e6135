"""Time that is told, and moves on only when everybody waits for it."""

import asyncio
import heapq
from collections.abc import Iterator
from contextlib import contextmanager

from daemon.clock import RealClock

WAIT_S_MAX = 20.0


class SteppedClock:
    """Implements `daemon.clock.SiteClock`.

    Args:
        wall_ns: wall time at time 0, ns since 1970.
        sleepers: how many tasks wait on this clock between two steps.
    """

    pretend = True
    boot_id = "bench"

    def __init__(self, wall_ns: int, *, sleepers: int) -> None:
        self._now_ns = 0
        self._wall_ns = wall_ns
        self._expected = sleepers
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._count = 0
        self._all_asleep = asyncio.Event()
        # Asked of the machine as ever, so that they cost what they cost.
        real = RealClock()
        self.wall_trusted = real.wall_trusted
        self.utc_offset_s = real.utc_offset_s

    def now_ns(self) -> int:
        return self._now_ns

    def wall_ns(self) -> int:
        return self._wall_ns + self._now_ns

    async def sleep_until(self, t_ns: int) -> None:
        if t_ns <= self._now_ns:
            return
        woken = asyncio.get_running_loop().create_future()
        self._count += 1
        heapq.heappush(self._sleepers, (t_ns, self._count, woken))
        if len(self._sleepers) == self._expected:
            self._all_asleep.set()
        await woken

    @contextmanager
    def busy(self) -> Iterator[None]:
        yield

    def put_on(self, by_ns: int) -> None:
        """Move time on and wake nobody."""
        self._now_ns += by_ns

    async def advance_to(self, t_ns: int) -> None:
        """Wake all whose time has come, and return when all wait again."""
        self._now_ns = t_ns
        while self._sleepers and self._sleepers[0][0] <= t_ns:
            self._all_asleep.clear()
            heapq.heappop(self._sleepers)[2].set_result(None)
        await self.all_asleep()

    async def all_asleep(self) -> None:
        """Return when all wait."""
        async with asyncio.timeout(WAIT_S_MAX):
            await self._all_asleep.wait()
