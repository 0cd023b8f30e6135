"""Waits of the links to brokers: on a clock, doubling up to a limit, on the first of several."""

import asyncio
from collections.abc import Coroutine

from drivers.base import Clock
from rules.frame import NS_PER_S

WAIT_S_MIN = 0.5


class Backoff:
    """How long to wait before the next attempt: twice as long each time, up to a limit.

    Args:
        wait_s_max: the longest wait, s.
    """

    def __init__(self, wait_s_max: float) -> None:
        self._wait_s_max = wait_s_max
        self._next_s = min(WAIT_S_MIN, wait_s_max)

    def next_s(self) -> float:
        """The wait before the next attempt, s; the one after that is longer."""
        wait_s = self._next_s
        self._next_s = min(2 * wait_s, self._wait_s_max)
        return wait_s

    def reset(self) -> None:
        """It worked: begin with the shortest wait again."""
        self._next_s = min(WAIT_S_MIN, self._wait_s_max)


async def wait(clock: Clock, wait_s: float) -> None:
    """Return after `wait_s` seconds of the clock."""
    await clock.sleep_until(clock.now_ns() + round(wait_s * NS_PER_S))


async def first_of(*waits: Coroutine[None, None, object]) -> None:
    """Return when the first of them does, with the others cancelled and gone."""
    tasks = [asyncio.ensure_future(item) for item in waits]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
