"""The plant's pace against real time."""

import asyncio
import time

BEHIND_S_MAX = 0.25


class WallPace:
    """Holds the plant to at most `speed` plant seconds per real second.

    A plant that has fallen behind does not run faster to catch up.
    """

    def __init__(self, speed: float | None) -> None:
        self._speed = speed
        self._due_s = time.monotonic()

    async def hold(self, plant_s: float) -> None:
        """Wait until the `plant_s` just advanced may be over; without a speed, let others run."""
        if self._speed is None:
            await asyncio.sleep(0)
            return
        now_s = time.monotonic()
        self._due_s = max(self._due_s, now_s - BEHIND_S_MAX) + plant_s / self._speed
        await asyncio.sleep(max(0.0, self._due_s - now_s))
