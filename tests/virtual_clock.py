"""A clock that moves only when a test says so; nothing ever really waits."""

import asyncio
import heapq
from itertools import count

NS_PER_S = 1_000_000_000
ROUNDS_MAX = 100_000
QUIET_ROUNDS = 3


class VirtualClock:
    """Implements `drivers.base.Clock` in virtual time.

    A test starts its tasks, then calls `advance`: sleepers wake in order of
    their times, and between two of them every task runs until it waits again.
    That includes sockets both of whose ends live in this loop. What another
    thread or process does is not waited for: wait for its event instead.

    Attributes:
        wall_offset_ns: wall time less `now_ns`; change it to step the wall clock.
    """

    def __init__(
        self, now_ns: int = 1_000 * NS_PER_S, wall_ns: int = 1_800_000_000 * NS_PER_S
    ) -> None:
        self._now_ns = now_ns
        self.wall_offset_ns = wall_ns - now_ns
        self._sleepers: list[tuple[int, int, asyncio.Future[None]]] = []
        self._order = count()

    def now_ns(self) -> int:
        """Virtual monotonic time, ns."""
        return self._now_ns

    def wall_ns(self) -> int:
        """Virtual wall time since 1970, ns."""
        return self._now_ns + self.wall_offset_ns

    async def sleep_until(self, t_ns: int) -> None:
        """Return when `advance` has brought the clock to `t_ns`."""
        if t_ns <= self._now_ns:
            await _yield_once()
            return
        woken = asyncio.get_running_loop().create_future()
        heapq.heappush(self._sleepers, (t_ns, next(self._order), woken))
        await woken

    @property
    def sleepers(self) -> int:
        """How many tasks wait for this clock."""
        return sum(not woken.done() for _, _, woken in self._sleepers)

    async def advance(self, seconds: float) -> None:
        """Move the clock on, waking each sleeper at its own time.

        Raises:
            ValueError: `seconds` is negative; this clock does not go back.
        """
        if seconds < 0:
            raise ValueError(f"advance({seconds}): a monotonic clock does not go back")
        end_ns = self._now_ns + round(seconds * NS_PER_S)
        await settle()
        while self._sleepers and self._sleepers[0][0] <= end_ns:
            t_ns, _, woken = heapq.heappop(self._sleepers)
            if woken.done():  # its task was cancelled while asleep
                continue
            self._now_ns = t_ns
            woken.set_result(None)
            await settle()
        self._now_ns = end_ns
        await settle()


async def settle() -> None:
    """Let every task of this loop run until all of them wait.

    Raises:
        RuntimeError: they never do; some task spins without waiting.
    """
    # Only the loop knows what is ready to run, and it has no public way to ask.
    ready = asyncio.get_running_loop()._ready
    quiet = 0
    for _ in range(ROUNDS_MAX):
        await _yield_once()
        # Each round also asks the sockets. One quiet round has been enough here;
        # more are a margin for a busy kernel that hands bytes over late.
        quiet = 0 if ready else quiet + 1
        if quiet == QUIET_ROUNDS:
            return
    raise RuntimeError(f"tasks still busy after {ROUNDS_MAX} rounds; one of them never waits")


async def _yield_once() -> None:
    await asyncio.sleep(0)  # noqa: TID251 - gives way once and waits for no time
