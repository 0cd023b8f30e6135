"""The lockstep clock against a real socket, and against the real pretend plant."""

import asyncio
import json
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from daemon import clock as clock_module
from daemon.clock import NS_PER_S, LockstepClock, RealClock
from tests.virtual_clock import settle

GUARD_S = 10
WALL_NS = 1_773_471_600 * NS_PER_S  # 2026-03-14T07:00:00Z
ROOT = Path(__file__).parents[2]


class Plant:
    """Speaks the pace protocol on a real socket.

    Attributes:
        asked: every time it was asked to move to, s.
        ends_s: its story is over from here on.
        answer: called for each request; by default the plant moves.
    """

    def __init__(self, ends_s: float = 1e9, greeting: bytes | None = None) -> None:
        self.asked: list[float] = []
        self.ends_s = ends_s
        self.greeting = greeting
        self.hangs_up_at_s = 1e9
        self.answer: bytes | None = None
        self.port = 0

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        told = {"now_s": 0.0, "wall_ns": WALL_NS, "period_s": 1.0, "pretend": True}
        writer.write(self.greeting if self.greeting is not None else encoded(told))
        while self.greeting is None and (line := await reader.readline()):
            until_s = json.loads(line)["until_s"]
            self.asked.append(until_s)
            if until_s >= self.hangs_up_at_s:
                break
            if self.answer is not None:
                writer.write(self.answer)
                continue
            now = {"now_s": until_s, "wall_ns": WALL_NS + round(until_s * NS_PER_S)}
            writer.write(encoded({**now, "over": until_s >= self.ends_s}))
        writer.close()


def encoded(body: dict[str, Any]) -> bytes:
    return json.dumps(body).encode() + b"\n"


@asynccontextmanager
async def plant_of(plant: Plant) -> AsyncIterator[LockstepClock]:
    """A clock connected to a plant, not yet running."""
    server = await asyncio.start_server(plant.serve, "127.0.0.1", 0)
    plant.port = server.sockets[0].getsockname()[1]
    clock = LockstepClock("127.0.0.1", plant.port)
    try:
        yield clock
    finally:
        clock.close()
        server.close()
        await server.wait_closed()
        await settle()


@asynccontextmanager
async def running(plant: Plant, parties: int = 0) -> AsyncIterator[LockstepClock]:
    async with plant_of(plant) as clock:
        await clock.open()
        clock.parties = parties
        task = asyncio.create_task(clock.run())
        try:
            async with asyncio.timeout(GUARD_S):
                yield clock
        finally:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task


async def test_it_begins_with_the_plants_time() -> None:
    async with running(Plant()) as clock:
        assert (clock.now_ns(), clock.wall_ns()) == (0, WALL_NS)
        assert clock.pretend
        assert clock.wall_trusted()
        assert clock.utc_offset_s() == 0
        assert not RealClock().pretend


async def test_time_moves_to_the_earliest_sleeper_when_all_wait() -> None:
    plant = Plant(ends_s=100)
    order: list[tuple[str, float]] = []

    async def sleeper(clock: LockstepClock, name: str, *until_s: float) -> None:
        for at_s in until_s:
            await clock.sleep_until(round(at_s * NS_PER_S))
            order.append((name, clock.now_ns() / NS_PER_S))

    async with running(plant, parties=2) as clock:
        tasks = [
            asyncio.create_task(sleeper(clock, "link", 1, 2, 3, 100)),
            asyncio.create_task(sleeper(clock, "rig", 1.25, 3, 101)),
        ]
        await clock.over.wait()
        for task in tasks:
            task.cancel()
    # Of two for the same time, who came first wakes first.
    assert order == [("link", 1.0), ("rig", 1.25), ("link", 2.0), ("rig", 3.0), ("link", 3.0)]
    assert plant.asked == [1.0, 1.25, 2.0, 3.0, 100.0]


async def test_time_stands_until_every_party_has_come_and_when_one_has_left() -> None:
    plant = Plant()
    async with running(plant, parties=2) as clock:
        first = asyncio.create_task(clock.sleep_until(NS_PER_S))
        await settle()
        assert plant.asked == []
        second = asyncio.create_task(clock.sleep_until(2 * NS_PER_S))
        await first
        await settle()
        assert plant.asked == [1.0]
        second.cancel()


async def test_time_stands_while_a_sleeper_works() -> None:
    plant = Plant(ends_s=100)
    done = asyncio.Event()

    async def worker(clock: LockstepClock) -> None:
        await clock.sleep_until(NS_PER_S)
        await done.wait()  # works, for instance reads its module, and does not sleep
        await clock.sleep_until(3 * NS_PER_S)
        await clock.sleep_until(200 * NS_PER_S)

    async def ticker(clock: LockstepClock) -> None:
        for second in (1, 2, 3, 4, 100):
            await clock.sleep_until(second * NS_PER_S)

    async with running(plant, parties=2) as clock:
        tasks = [asyncio.create_task(worker(clock)), asyncio.create_task(ticker(clock))]
        while plant.asked != [1.0]:
            await settle()
        await settle()
        assert plant.asked == [1.0]
        done.set()
        await clock.over.wait()
        for task in tasks:
            task.cancel()
    assert plant.asked == [1.0, 2.0, 3.0, 4.0, 100.0]


async def test_time_stands_while_somebody_is_busy() -> None:
    plant = Plant()
    async with running(plant, parties=1) as clock:
        with clock.busy(), clock.busy():
            waiting = asyncio.create_task(clock.sleep_until(NS_PER_S))
            await settle()
            assert plant.asked == []
        await waiting
    assert plant.asked == [1.0]


async def test_time_stands_until_what_nobody_waits_for_is_settled() -> None:
    plant = Plant()
    stored = asyncio.Event()
    async with running(plant, parties=1) as clock:

        async def store() -> None:
            await stored.wait()

        clock.settled = store
        waiting = asyncio.create_task(clock.sleep_until(NS_PER_S))
        await settle()
        assert plant.asked == []
        stored.set()
        await waiting
    assert plant.asked == [1.0]


async def test_who_has_ended_is_not_waited_for() -> None:
    plant = Plant()
    async with running(plant, parties=1) as clock:
        await asyncio.create_task(clock.sleep_until(NS_PER_S))
        gone = asyncio.create_task(clock.sleep_until(9 * NS_PER_S))
        stays = asyncio.create_task(clock.sleep_until(2 * NS_PER_S))
        gone.cancel()
        await stays
    assert plant.asked == [1.0, 2.0]


async def test_a_time_gone_by_is_no_request_to_the_plant() -> None:
    plant = Plant()
    async with running(plant, parties=1) as clock:
        await asyncio.create_task(clock.sleep_until(2 * NS_PER_S))
        await asyncio.create_task(clock.sleep_until(NS_PER_S))
        assert clock.now_ns() == 2 * NS_PER_S
    assert plant.asked == [2.0]


async def test_the_end_of_the_story_ends_it() -> None:
    async with running(Plant(ends_s=2), parties=1) as clock:
        await asyncio.create_task(clock.sleep_until(NS_PER_S))
        assert not clock.over.is_set()
        last = asyncio.create_task(clock.sleep_until(2 * NS_PER_S))
        await clock.over.wait()
        last.cancel()


async def test_a_plant_that_hangs_up_ends_it() -> None:
    plant = Plant()
    plant.hangs_up_at_s = 2
    async with running(plant, parties=1) as clock:
        await asyncio.create_task(clock.sleep_until(NS_PER_S))
        last = asyncio.create_task(clock.sleep_until(2 * NS_PER_S))
        await clock.over.wait()
        last.cancel()


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (b'{"error": "until_s = 1 is before now_s = 2"}\n', "refused to move on: until_s = 1 is"),
        (b"what?\n", "does not answer as one does"),
        (b'{"now_s": "soon", "wall_ns": 0, "over": false}\n', "does not answer as one does"),
        (b"[]\n", "does not answer as one does"),
    ],
)
async def test_a_plant_that_refuses_is_told(answer: bytes, told: str) -> None:
    plant = Plant()
    plant.answer = answer
    async with plant_of(plant) as clock:
        await clock.open()
        sleeper = asyncio.create_task(clock.sleep_until(NS_PER_S))
        async with asyncio.timeout(GUARD_S):
            with pytest.raises(ConnectionError, match=told):
                await clock.run()
        assert clock.over.is_set()
        sleeper.cancel()


async def test_no_plant_is_told_with_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    async with plant_of(Plant()) as clock:
        pass
    with pytest.raises(ConnectionError, match="start it first: curehold simulate"):
        await clock.open()
    monkeypatch.setattr(clock_module, "GREETING_S_MAX", 0.1)
    for greeting in (b"", b"SSH-2.0\n", b"{}\n", b"7\n"):
        async with plant_of(Plant(greeting=greeting)) as clock:
            with pytest.raises(ConnectionError, match="no pretend plant keeps time at"):
                await clock.open()


async def test_the_real_pretend_plant_goes_in_lockstep() -> None:
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        *("-m", "simulator", "--pace", "lockstep", "--scenario", "whole_cure"),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert process.stdout is not None
    try:
        async with asyncio.timeout(GUARD_S):
            ready = json.loads(await process.stdout.readline())
            clock = LockstepClock("127.0.0.1", ready["pace_port"])
            await clock.open()
            begun_ns = clock.wall_ns()
            clock.parties = 1
            pace = asyncio.create_task(clock.run())

            async def tick() -> list[int]:
                seen = []
                for second in range(1, 6):
                    await clock.sleep_until(second * NS_PER_S)
                    seen.append(clock.now_ns() // NS_PER_S)
                return seen

            assert await asyncio.create_task(tick()) == [1, 2, 3, 4, 5]
            assert clock.wall_ns() - begun_ns == 5 * NS_PER_S
            pace.cancel()
            with suppress(asyncio.CancelledError):
                await pace
            clock.close()
    finally:
        with suppress(ProcessLookupError):
            process.terminate()
        await process.wait()
        # asyncio closes a subprocess's pipes only with its transport.
        process._transport.close()  # type: ignore[attr-defined]  # no public way
        await settle()


async def test_real_time_passes_by_itself() -> None:
    clock = RealClock()
    before_ns = clock.now_ns()
    await clock.sleep_until(before_ns + 2_000_000)
    assert clock.now_ns() - before_ns >= 2_000_000
    assert isinstance(clock.wall_trusted(), bool)
    assert len(clock.boot_id) == 36
    with clock.busy():
        assert clock.wall_ns() > WALL_NS // 2
