"""The test clock itself: order, settling, cancellation, and a way out of a spin."""

import asyncio

import pytest

from tests import virtual_clock
from tests.virtual_clock import NS_PER_S, VirtualClock, settle


async def _sleeper(clock: VirtualClock, after_s: float, name: str, log: list) -> None:
    begin_ns = clock.now_ns()
    await clock.sleep_until(begin_ns + round(after_s * NS_PER_S))
    log.append((name, (clock.now_ns() - begin_ns) / NS_PER_S))


async def test_sleepers_wake_in_order_each_at_its_own_time():
    clock, log = VirtualClock(), []
    async with asyncio.TaskGroup() as group:
        for after_s, name in ((3, "late"), (1, "early"), (2, "middle"), (1, "early too")):
            group.create_task(_sleeper(clock, after_s, name, log))
        await clock.advance(2.5)
        assert log == [("early", 1), ("early too", 1), ("middle", 2)]
        assert clock.sleepers == 1
        await clock.advance(0.5)
    assert log[-1] == ("late", 3)


async def test_a_periodic_task_keeps_its_period_within_one_advance():
    clock, ticks_s = VirtualClock(now_ns=0), []

    async def ticker() -> None:
        for tick in range(1, 6):
            await clock.sleep_until(tick * NS_PER_S)
            ticks_s.append(clock.now_ns() / NS_PER_S)

    task = asyncio.create_task(ticker())
    await clock.advance(100)
    await task
    assert ticks_s == [1, 2, 3, 4, 5]


async def test_a_cancelled_sleeper_is_forgotten_and_others_still_wake():
    clock, log = VirtualClock(), []
    gone = asyncio.create_task(_sleeper(clock, 1, "gone", log))
    stays = asyncio.create_task(_sleeper(clock, 2, "stays", log))
    await settle()
    gone.cancel()
    await clock.advance(2)
    await stays
    assert log == [("stays", 2)]
    assert gone.cancelled()


async def test_sockets_within_the_loop_are_settled_too():
    clock, got = VirtualClock(), []

    async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(await reader.readexactly(4))
        writer.close()
        await writer.wait_closed()

    async def ask(port: int) -> None:
        await clock.sleep_until(clock.now_ns() + NS_PER_S)
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"ping")
        got.append(await reader.readexactly(4))
        writer.close()
        await writer.wait_closed()

    async with await asyncio.start_server(echo, "127.0.0.1", 0) as server:
        task = asyncio.create_task(ask(server.sockets[0].getsockname()[1]))
        await clock.advance(1)
        assert got == [b"ping"]
        await task


async def test_wall_time_moves_along_and_can_be_stepped():
    clock = VirtualClock(now_ns=5, wall_ns=1_000)
    await clock.advance(1)
    assert (clock.now_ns(), clock.wall_ns()) == (NS_PER_S + 5, NS_PER_S + 1_000)
    clock.wall_offset_ns += 7
    assert (clock.now_ns(), clock.wall_ns()) == (NS_PER_S + 5, NS_PER_S + 1_007)


async def test_a_time_already_reached_gives_way_once():
    clock, log = VirtualClock(), []
    task = asyncio.create_task(_sleeper(clock, 0, "other", log))
    await clock.sleep_until(clock.now_ns())
    assert log == []  # the other has only begun to give way
    await task
    assert log == [("other", 0)]


async def test_it_refuses_to_go_back():
    with pytest.raises(ValueError, match="does not go back"):
        await VirtualClock().advance(-1)


async def test_a_spinning_task_is_named_instead_of_hanging_the_test(monkeypatch):
    monkeypatch.setattr(virtual_clock, "ROUNDS_MAX", 50)
    clock = VirtualClock()

    async def spin() -> None:
        while True:
            await clock.sleep_until(0)

    task = asyncio.create_task(spin())
    with pytest.raises(RuntimeError, match="never waits"):
        await clock.advance(1)
    task.cancel()
