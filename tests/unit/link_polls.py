"""A running link of one's own, poll by poll in virtual time."""

import asyncio
from collections.abc import AsyncIterator, Awaitable
from contextlib import asynccontextmanager

from drivers.base import Link
from tests.virtual_clock import VirtualClock, settle

GUARD_S = 20.0


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
