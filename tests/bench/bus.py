"""32 units on one serial bus, eight of them dead: what the living notice, in real time."""

import asyncio
import statistics
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from daemon.clock import RealClock
from drivers.modbus import PointSettings, RtuSettings, open_link
from tests.bench.figures import Row, percentile
from tests.bench.wire import served

UNITS = range(1, 33)
DEAD = range(4, 33, 4)  # among the others, so that none is only waited for at the end
LIVING = [unit for unit in UNITS if unit not in DEAD]
POINTS_EACH = 2
PERIOD_S, TIMEOUT_S = 0.25, 0.05
# A dead unit is not asked again before; each has its turn later than that, so that
# every probe really waits.
LATE_S = 0.5
SETTLING_POLLS = 5  # the first meets the dead and is late for it; then `LATE_S` goes by
POLLS_MIN, FRAMES_PER_POLL = 4, 10
POINTS = {
    f"{unit}-{n}": PointSettings(unit=unit, table="input", register=n, type="int16", scale=0.1)
    for unit in UNITS
    for n in range(POINTS_EACH)
}
POLL_TASK = "bus poll"
GUARD_S = 20.0


@dataclass(frozen=True)
class Polled:
    """One poll.

    Attributes:
        began_ns: when.
        ended_ns: when, with the probe.
        read_ns: when each living unit's answer came.
    """

    began_ns: int
    ended_ns: int
    read_ns: dict[int, int]

    @property
    def living_ms(self) -> float:
        """From its beginning until the last living unit was read."""
        return (max(self.read_ns.values()) - self.began_ns) / 1e6

    @property
    def whole_ms(self) -> float:
        """From its beginning to its end."""
        return (self.ended_ns - self.began_ns) / 1e6


class WatchedClock(RealClock):
    """Real time, and word of each poll's beginning and end: between two it sleeps."""

    def __init__(self, ended: Callable[[int, int], None]) -> None:
        super().__init__()
        self._ended = ended
        self._began_ns = 0

    async def sleep_until(self, t_ns: int) -> None:
        """As ever."""
        task = asyncio.current_task()
        polls = task is not None and task.get_name() == POLL_TASK
        if polls and self._began_ns:
            self._ended(self._began_ns, self.now_ns())
        await super().sleep_until(t_ns)
        if polls:
            self._began_ns = self.now_ns()


async def polled(path: str, living: list[int], polls: int) -> list[Polled]:
    """So many polls, and before them those in which the bus settles."""
    found: list[Polled] = []
    enough = asyncio.Event()

    def ended(began_ns: int, ended_ns: int) -> None:
        samples = link.snapshot()
        read_ns = {unit: samples[f"{unit}-0"].at_ns for unit in living}
        found.append(Polled(began_ns, ended_ns, read_ns))
        if len(found) == SETTLING_POLLS + polls:
            enough.set()

    settings = RtuSettings(
        device=path, parity="none", period_s=PERIOD_S, timeout_s=TIMEOUT_S, late_s=LATE_S
    )
    link = open_link("bus", settings, POINTS, {}, WatchedClock(ended))
    running = asyncio.create_task(link.run())
    try:
        async with asyncio.timeout(GUARD_S + 4 * polls * PERIOD_S):
            await enough.wait()
        good = {name for name, sample in link.snapshot().items() if sample.quality == "good"}
        if good != {f"{unit}-{n}" for unit in living for n in range(POINTS_EACH)}:
            raise RuntimeError(f"not just the living were read, but {sorted(good)}")
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        await link.close()
    return found


async def measured(
    folder: Path, rounds: int, frames: int, tell: Callable[[int], None]
) -> list[Row]:
    """Rows for the living among the dead, against the same bus with none dead.

    Args:
        folder: an empty one.
        rounds: how often both buses are polled.
        frames: ten of them ask for one poll.
        tell: called with about how long what is now done takes, ms.
    """
    polls = max(POLLS_MIN, frames // FRAMES_PER_POLL)
    with_dead, with_none = [], []
    with (
        served("rtu", str(folder / "all"), *UNITS) as whole,
        served("rtu", str(folder / "some"), *LIVING) as reduced,
    ):
        for _ in range(rounds):
            with_none.append(await polled(whole, list(UNITS), polls))
            with_dead.append(await polled(reduced, LIVING, polls))
            tell(cost_ms(frames))
    return _rows(with_dead, with_none)


def cost_ms(frames: int) -> int:
    """About how long a round takes, ms, for the progress bar."""
    polls = SETTLING_POLLS + 1 + max(POLLS_MIN, frames // FRAMES_PER_POLL)
    return round(2000 * PERIOD_S * polls)


def _rows(with_dead: list[list[Polled]], with_none: list[list[Polled]]) -> list[Row]:
    settled = [polls[SETTLING_POLLS:] for polls in with_dead]
    settled_none = [polls[SETTLING_POLLS:] for polls in with_none]

    def row(name: str, of: Callable[[list[Polled]], list[float]], note: str) -> Row:
        ours = [statistics.median(of(polls)) for polls in settled]
        none = [statistics.median(of(polls)) for polls in settled_none]
        ratio = [one / other for one, other in zip(ours, none, strict=True)]
        return Row(f"32 units, 8 dead: {name}", "ms", ours, none, ratio, "none dead", note)

    apart = [ms for polls in settled for ms in _from_one_to_the_next(polls)]
    probes = [one.whole_ms - one.living_ms for polls in settled for one in polls]
    firsts = [polls[0].whole_ms for polls in with_dead]
    return [
        row(
            "a living one's turn",
            lambda polls: [one.living_ms / len(one.read_ns) for one in polls],
            f"in the column bare: 32 units of which none is dead. {len(probes)} polls; until the "
            "last living unit was read, over how many live",
        ),
        row(
            "sample to sample",
            _from_one_to_the_next,
            f"of one living unit, asked for every {1000 * PERIOD_S:g} ms; at the 99th percentile "
            f"{percentile(apart, 99):.0f} ms, longest {max(apart):.0f} ms",
        ),
        row(
            "a whole poll",
            lambda polls: [one.whole_ms for one in polls],
            f"the one probe, after the living, takes {statistics.median(probes):.1f} ms with a "
            f"time-out of {1000 * TIMEOUT_S:g} ms, longest {max(probes):.0f} ms; the poll that "
            f"first meets the dead waits for each of them, {statistics.median(firsts):.0f} ms",
        ),
    ]


def _from_one_to_the_next(polls: list[Polled]) -> list[float]:
    return [
        (after.read_ns[unit] - before.read_ns[unit]) / 1e6
        for before, after in pairwise(polls)
        for unit in LIVING
    ]
