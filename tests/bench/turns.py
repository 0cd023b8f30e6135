"""Taking turns on a wire: how a contestant is polled, and what a turn used."""

import gc
import statistics
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from time import perf_counter_ns, process_time_ns

from drivers.base import Link
from tests.bench.meter import NS_PER_US, pause

ANSWER_S_MAX = 5.0

Poll = Callable[[], Awaitable[None]]
Opened = Callable[[], AbstractAsyncContextManager[Poll]]


@dataclass(frozen=True)
class Turn:
    """What one turn used.

    Attributes:
        cpu_us: of each poll.
        wall_ms: how long a poll took, median.
    """

    cpu_us: float
    wall_ms: float


def nothing() -> None:
    """What makes the other side speak where it only answers."""


async def turn(opened: Opened, polls: int, before: Callable[[], None] = nothing) -> Turn:
    """One contestant's turn; the first poll, which connects, does not count.

    Args:
        opened: the contestant.
        polls: how many.
        before: makes the other side speak; does not count.
    """
    took_ms, used_ns = [], 0
    gc.collect()
    async with opened() as poll:
        for place in range(1 + polls):
            before()
            began_ns, cpu_ns = perf_counter_ns(), process_time_ns()
            await poll()
            if place:
                used_ns += process_time_ns() - cpu_ns
                took_ms.append((perf_counter_ns() - began_ns) / 1e6)
            await pause()
    return Turn(used_ns / NS_PER_US / polls, statistics.median(took_ms))


def check_all_read(link: Link, requests: int, failed: int = 0) -> None:
    counts = link.statistics()
    good = all(sample.quality == "good" for sample in link.snapshot().values())
    if (counts.requests, counts.failures) != (requests, failed) or not good:
        raise RuntimeError(
            f"{counts.requests} reads with {counts.failures} failures are not {requests} with "
            f"{failed}, so the bare libraries would not do the same work; look at what the link "
            "does now, or try again on a quieter machine"
        )
