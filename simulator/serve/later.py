"""What a wire does a little later: in real time, or in the plant's own.

In lockstep the plant stands while its client works, so a lateness in real time
would be any number of plant seconds. There the plant's time counts.
"""

import asyncio
import heapq
from collections.abc import Callable
from typing import Protocol

WAITING_MAX = 1000


class Later(Protocol):
    """Does things later."""

    def after(self, wait_s: float, act: Callable[[], None]) -> None:
        """Call `act` in `wait_s`; with more than `WAITING_MAX` waiting it is lost."""

    def moved(self) -> None:
        """The plant has moved by a step."""

    def close(self) -> None:
        """Forget what waits."""


class RealLater:
    """By real time, whatever the plant does; within a running event loop."""

    def __init__(self) -> None:
        self._handles: set[asyncio.TimerHandle] = set()

    def after(self, wait_s: float, act: Callable[[], None]) -> None:
        """Call `act` in `wait_s` of real time."""
        if len(self._handles) >= WAITING_MAX:
            return

        def due() -> None:
            self._handles.discard(handle)
            act()

        handle = asyncio.get_running_loop().call_later(wait_s, due)
        self._handles.add(handle)

    def moved(self) -> None:
        """Nothing hangs on it."""

    def close(self) -> None:
        """Forget what waits."""
        for handle in self._handles:
            handle.cancel()
        self._handles.clear()


class PlantLater:
    """By plant time: at the first step at or after it is due."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        """Nothing waits yet.

        Args:
            now_s: the plant's time, s.
        """
        self._now_s = now_s
        self._count = 0
        self._waiting: list[tuple[float, int, Callable[[], None]]] = []

    def after(self, wait_s: float, act: Callable[[], None]) -> None:
        """Call `act` in `wait_s` of plant time, in the order of asking at equal times."""
        if len(self._waiting) < WAITING_MAX:
            self._count += 1
            heapq.heappush(self._waiting, (self._now_s() + wait_s, self._count, act))

    def moved(self) -> None:
        """Do what has come due; once each, whatever it asks for anew."""
        due = []
        while self._waiting and self._waiting[0][0] <= self._now_s():
            due.append(heapq.heappop(self._waiting)[2])
        for act in due:
            act()

    def close(self) -> None:
        """Forget what waits."""
        self._waiting.clear()
