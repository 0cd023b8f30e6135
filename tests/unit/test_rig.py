"""One rig's task: frames by the clock, faults of its own, commands, resuming.

The store is the real one; the link is a small one of our own that keeps the
protocol of `drivers.base.Link`; time is virtual. Figures are invented.
"""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.config import Config, load
from daemon.notify.compose import compose
from daemon.notify.messages import StateMessage
from daemon.rig import RigTask
from daemon.store.reader import StoreReader
from daemon.store.store import Store
from drivers.base import LinkStatistics, Sample
from rules.checkpoint import CheckpointError
from rules.events import AlarmChanged, Decision
from rules.frame import Command, Frame, Health
from tests.unit.test_outputs import SiteVirtualClock
from tests.virtual_clock import settle

EXAMPLE = Path(__file__).parents[2] / "deploy" / "curehold.example.toml"
IDLE = {"pad_inner_c": 20.0, "pad_outer_c": 20.0, "ambient_c": 20.0, "supply_kpa": 800.0}
ON = ("mains_ok", "estop_ok")


class HeldUpClock(SiteVirtualClock):
    """A virtual clock whose next sleeper can be woken too late, as by a busy loop."""

    def __init__(self) -> None:
        super().__init__()
        self.held_up_ns = 0

    async def sleep_until(self, t_ns: int) -> None:
        await super().sleep_until(t_ns)
        self._now_ns += self.held_up_ns
        self.held_up_ns = 0


@dataclass
class BenchLink:
    """A link whose samples a test sets; it counts what it is asked.

    Attributes:
        config: what is fitted.
        clock: for the time of the samples.
        values: by channel, the same for every rig on it.
        coils: outputs as last written.
        broken: raises on every look, as a fault of our own program would.
    """

    config: Config
    clock: HeldUpClock
    name: str = "modules"
    values: dict[str, float] = field(default_factory=dict)
    coils: dict[str, bool] = field(default_factory=dict)
    broken: bool = False
    renewed: int = 0

    def snapshot(self) -> Mapping[str, Sample]:
        if self.broken:
            raise RuntimeError("a fault of our own")
        now_ns = self.clock.now_ns()
        found = {}
        for point in self.config.points(self.name):
            channel = point.split("/")[1]
            value = self.values.get(channel, 1.0 if channel in ON else IDLE.get(channel, 0.0))
            found[point] = Sample(value, "good", "", now_ns)
        for point in self.config.outputs(self.name):
            on = self.coils.get(point, False)
            found[point] = Sample(float(on), "good", "", now_ns)
        return found

    async def write(self, point: str, *, on: bool) -> None:
        self.coils[point] = on

    def renew(self, token: str) -> None:
        self.renewed += 1

    async def run(self) -> None:
        await asyncio.Event().wait()

    async def poll_once(self) -> None:
        return

    def remarks(self) -> list[str]:
        return []

    def statistics(self) -> LinkStatistics:
        return LinkStatistics()

    async def close(self) -> None:
        return


@dataclass
class Bench:
    """One rig on its own link, running."""

    task: RigTask
    link: BenchLink
    clock: HeldUpClock
    store: Store
    told: list[StateMessage]

    async def pass_time(self, seconds: float) -> None:
        """Time goes on; what was to be stored is stored."""
        for _ in range(round(seconds)):
            await self.clock.advance(1.0)
            await self.store.flush()
            await settle()

    async def press(self, button: str) -> None:
        self.link.values[button] = 1.0
        await self.pass_time(1)
        self.link.values[button] = 0.0
        await self.pass_time(1)

    @property
    def permit_coil(self) -> bool:
        return self.link.coils.get("bay-2/heat_permit", False)


def config_in(home: Path) -> Config:
    text = EXAMPLE.read_text().replace("/var/lib/curehold", str(home))
    mqtt = text.index("[mqtt]")
    text = text[:mqtt] + text[text.index("[links.modules]") :]
    path = home / "shop.toml"
    path.write_text(text)
    return load(path)


@asynccontextmanager
async def running(home: Path, clock: HeldUpClock | None = None) -> AsyncIterator[Bench]:
    """A rig supervised in virtual time."""
    config = config_in(home)
    clock = clock or HeldUpClock()
    store = await Store.open(config.store.path)
    link = BenchLink(config, clock)
    told: list[StateMessage] = []
    task = RigTask(
        config.site,
        config.rigs[0],
        {"modules": link},
        store,
        clock,
        lambda state, events: told.append(state),
        health=lambda: Health(store.store_ok),
    )
    store.on_durable = lambda rig, seq: task.durable(seq)
    jobs = [asyncio.create_task(task.run()), asyncio.create_task(task.outputs.run())]
    try:
        while clock.sleepers == 0:  # resuming asks the writer's thread
            await store.flush()
            await asyncio.to_thread(lambda: None)
        yield Bench(task, link, clock, store, told)
    finally:
        for job in jobs:
            job.cancel()
        for job in jobs:
            with suppress(asyncio.CancelledError):
                await job
        await store.close()


async def test_frames_come_by_the_clock_once_a_period(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(20)
        frames = [frame async for frame in bench.store.frames("bay-2", 0)]
    assert [frame.seq for frame in frames] == list(range(1, 21))
    steps = {after.t_ns - before.t_ns for before, after in pairwise(frames)}
    assert steps == {1_000_000_000}


async def test_time_that_jumped_is_counted_and_said(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(3)
        bench.clock.held_up_ns = 7_400_000_000
        await bench.pass_time(2)
        frames = [frame async for frame in bench.store.frames("bay-2", 0)]
    assert [frame.health.polls_missed for frame in frames[:3]] == [0, 0, 0]
    assert frames[-1].health.polls_missed == 7
    assert frames[-1].health.polls_late == 1
    assert [frame.seq for frame in frames] == list(range(1, len(frames) + 1))


async def test_heat_is_granted_after_the_commit_only(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(3)
        bench.link.values["start_button"] = 1.0
        bench.store.on_durable = None  # the commit is not told
        await bench.pass_time(2)
        assert bench.permit_coil is False
        assert bench.told[-1].permit == "withheld", "nothing is told before its commit either"
        bench.task.durable(10_000)
        await settle()
        assert bench.permit_coil is True
        assert bench.told[-1].permit == "granted"


@pytest.mark.proves("one rig never stops or delays another")
async def test_a_fault_of_the_rigs_own_takes_heat_away_then_goes_on(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(3)
        await bench.press("start_button")
        await bench.pass_time(2)
        assert bench.permit_coil is True
        renewed = bench.link.renewed
        bench.link.broken = True
        await bench.pass_time(2)
        assert bench.permit_coil is False
        assert bench.link.renewed == renewed, "nothing says that this rig is alive"
        bench.link.broken = False
        await bench.pass_time(12)
        frames = [frame async for frame in bench.store.frames("bay-2", 0)]
        assert bench.link.renewed > renewed, "it goes on by itself"
        # Nothing changed meanwhile and the gap was short: the one way back without a press.
        assert bench.task.latest is not None
        assert bench.task.latest.permit == "granted"
    assert [frame.seq for frame in frames] == list(range(1, len(frames) + 1))


async def test_after_a_fault_heat_stays_off_when_a_pad_has_changed(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(3)
        await bench.press("start_button")
        await bench.pass_time(2)
        bench.link.broken = True
        await bench.pass_time(2)
        bench.link.broken = False
        bench.link.values["pad_inner_c"] = 29.0
        await bench.pass_time(30)
        assert bench.task.latest is not None
        assert bench.task.latest.permit == "withdrawn"
        assert bench.permit_coil is False


async def test_a_command_is_answered_when_its_frame_is_stored(tmp_path: Path) -> None:
    async with running(tmp_path) as bench:
        await bench.pass_time(3)
        note = Command("id-1", "note", "Kim", "socket", 0, text="pads dusted")
        answer = asyncio.create_task(bench.task.submit(note))
        await settle()
        assert not answer.done()
        await bench.pass_time(2)
        assert (await answer).accepted
        frames = [frame async for frame in bench.store.frames("bay-2", 0)]
    assert [command for frame in frames for command in frame.commands] == [note]


async def heated_then_restarted(home: Path, **changed: float) -> tuple[str, bool, list[str]]:
    """A rig in preheat, heat on; the daemon restarts within the second.

    Returns:
        Permit, coil, and the kinds of events stored after the restart.
    """
    clock = HeldUpClock()
    async with running(home, clock) as bench:
        await bench.pass_time(3)
        await bench.press("start_button")
        await bench.pass_time(700)  # beyond a checkpoint
        assert bench.permit_coil
    async with running(home, clock) as bench:
        bench.link.values.update(changed)
        await bench.pass_time(8)
        assert bench.task.latest is not None
        assert bench.task.latest.run == 1
        assert bench.task.latest.phase == "preheat"
        found = bench.task.latest.permit, bench.permit_coil
    events = StoreReader(home / "curehold.db").events(1)
    return *found, [item.event.event for item in events if item.seq > 705]


async def test_a_restart_goes_on_where_the_record_ends(tmp_path: Path) -> None:
    permit, coil, events = await heated_then_restarted(tmp_path)
    # Nothing changed, mains watched, a gap of seconds: the one way back without a press.
    assert (permit, coil) == ("granted", True)
    assert events[0] == "interrupted"
    assert events.count("permit") == 2, "withdrawn, then granted anew by the rules"


async def test_a_quick_restart_gives_no_heat_back_when_a_pad_has_changed(tmp_path: Path) -> None:
    permit, coil, events = await heated_then_restarted(tmp_path, pad_inner_c=90.0)
    assert (permit, coil) == ("withdrawn", False)
    assert events[0] == "interrupted"


@pytest.mark.proves("killed with a standing trip: latched, heat off, nothing told twice")
async def test_a_trip_whose_frame_could_not_be_kept_is_judged_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = compose
    failures = []

    def fails_once(site: str, rig: str, decision: Decision, frame: Frame) -> object:
        if any(isinstance(event, AlarmChanged) for event in decision.events) and not failures:
            failures.append(frame.seq)
            raise RuntimeError("a fault of our own")
        return made(site, rig, decision, frame)

    monkeypatch.setattr("daemon.rig.compose", fails_once)
    clock = HeldUpClock()
    async with running(tmp_path, clock) as bench:
        await bench.pass_time(3)
        await bench.press("start_button")
        await bench.pass_time(5)
        bench.link.values["pad_inner_c"] = 160.0
        await bench.pass_time(8)  # a pad that leaps is doubted for 5 s
        assert failures
        assert bench.permit_coil is False, "heat goes first"
        await bench.pass_time(30)
        assert bench.task.latest is not None
        assert bench.task.latest.permit == "latched"
    told = [item.event for item in StoreReader(tmp_path / "curehold.db").events(1)]
    trips = [event for event in told if isinstance(event, AlarmChanged) and event.state == "trip"]
    assert [event.tag for event in trips] == ["pad.overtemperature"]


async def test_a_latch_outlives_a_state_that_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = HeldUpClock()
    async with running(tmp_path, clock) as bench:
        await bench.pass_time(3)
        bench.link.values["pad_inner_c"] = 160.0
        await bench.pass_time(8)  # a pad that leaps is doubted for 5 s
        bench.link.values["pad_inner_c"] = 20.0
        await bench.pass_time(700)
        assert bench.task.latest is not None
        assert bench.task.latest.permit == "latched"
        assert bench.task.latest.run is None

    def unusable(body: bytes) -> object:
        raise CheckpointError("made by other rules")

    monkeypatch.setattr("daemon.rig.load", unusable)
    async with running(tmp_path, clock) as bench:
        await bench.pass_time(8)
        assert bench.task.latest is not None
        assert bench.task.latest.permit == "latched"
        assert bench.permit_coil is False
