"""How the supervisor itself is doing, looked at beside the frames and never within one.

What takes a disk's answer is asked for every 10 s in the store's own thread;
a frame takes what was found last.
"""

from collections.abc import Callable, Mapping

from daemon.clock import NS_PER_S, SiteClock
from daemon.store.errors import StoreFailing
from daemon.store.store import Store
from drivers.base import Clock
from rules.frame import Health

LOOK_S = 10.0
# How long a broker may take to be reached at the start before it counts as away.
FIRST_TRY_S = 60.0
MB = 1_000_000


class HealthWatch:
    """What a frame is told of the supervisor.

    Args:
        store: takes the frames.
        broker_ok: whether the broker answers; None: no broker is configured.
        late_after_s: by destination, how long its oldest message may wait, s.
        clock: the rigs' time, by which messages are dated.
        machine_clock: real time, also where a simulated plant runs faster.
    """

    def __init__(
        self,
        store: Store,
        broker_ok: Callable[[], bool] | None,
        late_after_s: Mapping[str, float],
        clock: SiteClock,
        machine_clock: Clock,
    ) -> None:
        self._store = store
        self._broker_ok = broker_ok
        self._late_after_s = late_after_s
        self._clock = clock
        self._machine_clock = machine_clock
        self._tried_from_ns = machine_clock.now_ns()
        self._reached = False
        self._free_mb: int | None = None
        self._oldest_ns: Mapping[str, int] = {}

    def now(self) -> Health:
        """For the frame that is being made; never waits."""
        return Health(
            store_ok=self._store.store_ok,
            broker_ok=self._broker(),
            store_free_mb=self._free_mb,
            delivery_failing=self._late(),
        )

    async def run(self) -> None:
        """Look again and again; leaves when cancelled."""
        while True:
            try:
                await self.look()
            except StoreFailing:
                # The store tells of itself; what was found before is no longer known.
                self._free_mb = None
            wait_ns = int(LOOK_S * NS_PER_S)
            await self._machine_clock.sleep_until(self._machine_clock.now_ns() + wait_ns)

    async def look(self) -> None:
        """Ask the store once.

        Raises:
            StoreFailing: it cannot be read.
        """
        free_bytes, self._oldest_ns = await self._store.room_and_oldest(tuple(self._late_after_s))
        self._free_mb = free_bytes // MB

    def _broker(self) -> bool | None:
        if self._broker_ok is None:
            return None
        answers = self._broker_ok()
        self._reached = self._reached or answers
        tried_s = (self._machine_clock.now_ns() - self._tried_from_ns) / NS_PER_S
        return answers if self._reached or tried_s >= FIRST_TRY_S else None

    def _late(self) -> str:
        if not self._oldest_ns or self._clock.pretend:
            # A pretend plant's hour may be a second here: its messages are not late.
            return ""
        now_ns = self._clock.wall_ns()
        for dest, since_ns in self._oldest_ns.items():
            if now_ns - since_ns >= self._late_after_s[dest] * NS_PER_S:
                return dest
        return ""
