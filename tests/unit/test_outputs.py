"""Outputs: energy is taken away at once, and given only after the commit."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import dataclass, field

import pytest
from structlog.testing import capture_logs

from daemon.outputs import PERMIT, RigOutputs, sounding
from drivers.base import BadReply, LinkDown, LinkStatistics, Sample
from drivers.modbus import OutputSettings, TcpSettings, open_link
from drivers.modbus.fake import FakeServer, Fault
from rules.events import Horn, Outputs
from tests.virtual_clock import VirtualClock, settle

OFF = Outputs()
HEAT = Outputs(heat_permit=True)
CALL = Outputs(horn=Horn.STAND_CLEAR)
ALL = {
    PERMIT: "relays",
    "horn": "relays",
    "beacon_red": "relays",
    "beacon_amber": "relays",
    "release_permit": "relays",
}


class SiteVirtualClock(VirtualClock):
    """A virtual clock that counts who asks for time to stand still."""

    pretend = False
    boot_id = "boot"

    def __init__(self) -> None:
        super().__init__()
        self.busy_now = 0

    def wall_trusted(self) -> bool:
        return True

    def utc_offset_s(self) -> int:
        return 0

    @contextmanager
    def busy(self) -> Iterator[None]:
        self.busy_now += 1
        try:
            yield
        finally:
            self.busy_now -= 1


@dataclass
class OwnLink:
    """Implements `drivers.base.Link`; each write does what the test says.

    Attributes:
        writes: in order, with or without success.
        failing: outputs whose writes fail.
        hanging: outputs whose writes wait for `let_go`.
        swallows: a hanging write that is cancelled returns as if answered, as
            `asyncio.wait_for` may before Python 3.12.
    """

    name: str = "relays"
    writes: list[tuple[str, bool]] = field(default_factory=list)
    failing: dict[str, Exception] = field(default_factory=dict)
    hanging: set[str] = field(default_factory=set)
    let_go: asyncio.Event = field(default_factory=asyncio.Event)
    swallows: bool = False

    async def run(self) -> None:
        await asyncio.Event().wait()

    async def poll_once(self) -> None:
        return

    def snapshot(self) -> dict[str, Sample]:
        return {}

    async def write(self, point: str, *, on: bool) -> None:
        output = point.removeprefix("bay-2/")
        self.writes.append((output, on))
        if output in self.hanging:
            try:
                await self.let_go.wait()
            except asyncio.CancelledError:
                if not self.swallows:
                    raise
        if output in self.failing:
            raise self.failing[output]

    def renew(self, token: str) -> None:
        return

    def remarks(self) -> list[str]:
        return []

    def statistics(self) -> LinkStatistics:
        return LinkStatistics()

    async def close(self) -> None:
        return


class Bench:
    """A rig's outputs on a link of our own, running."""

    def __init__(self, fitted: dict[str, str]) -> None:
        self.link = OwnLink()
        self.clock = SiteVirtualClock()
        self.outputs = RigOutputs("bay-2", {"relays": self.link}, fitted, self.clock)
        self.seq = 0

    async def frame(self, outputs: Outputs, *, commit: bool = True) -> list[tuple[str, bool]]:
        """One frame's decision, and commit; what was written for it."""
        self.link.writes.clear()
        self.seq += 1
        self.outputs.apply(self.seq, outputs)
        if commit:
            self.outputs.committed(self.seq)
        await settle()
        return list(self.link.writes)


@asynccontextmanager
async def bench(
    fitted: dict[str, str] | None = None, *, begun: bool = True
) -> AsyncIterator[Bench]:
    found = Bench(ALL if fitted is None else fitted)
    task = asyncio.create_task(found.outputs.run())
    try:
        if begun:
            await settle()
        yield found
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def test_the_first_act_is_to_open_everything() -> None:
    async with bench() as rig:
        assert rig.link.writes[0] == (PERMIT, False)
        assert sorted(rig.link.writes) == sorted((name, False) for name in ALL)
        assert await rig.frame(OFF) == []


async def test_heat_is_granted_only_after_the_commit() -> None:
    async with bench() as rig:
        await rig.frame(OFF)
        assert await rig.frame(HEAT, commit=False) == []
        rig.outputs.committed(rig.seq - 1)
        await settle()
        assert rig.link.writes == []
        rig.outputs.committed(rig.seq)
        await settle()
        assert rig.link.writes == [(PERMIT, True)]
        assert await rig.frame(HEAT) == []


@pytest.mark.proves("heat away at once, whatever else is failing")
async def test_heat_is_taken_away_without_a_commit() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        assert await rig.frame(OFF, commit=False) == [(PERMIT, False)]


async def test_a_grant_overtaken_by_a_withdrawal_is_never_written() -> None:
    async with bench() as rig:
        assert await rig.frame(HEAT, commit=False) == []
        assert await rig.frame(OFF, commit=False) == []
        rig.outputs.committed(rig.seq)
        await settle()
        assert rig.link.writes == []


async def test_a_grant_waits_for_the_commit_of_its_own_frame_not_of_the_last() -> None:
    async with bench() as rig:
        await rig.frame(HEAT, commit=False)
        decided = rig.seq
        await rig.frame(HEAT, commit=False)
        rig.outputs.committed(decided)
        await settle()
        assert rig.link.writes == [(PERMIT, True)]


async def test_a_failed_heat_off_is_written_again_until_it_is_off() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        rig.link.failing[PERMIT] = LinkDown("no connection")
        assert await rig.frame(OFF) == [(PERMIT, False)]
        assert await rig.frame(OFF) == [(PERMIT, False)]
        rig.link.failing.clear()
        assert await rig.frame(OFF) == [(PERMIT, False)]
        assert await rig.frame(OFF) == []
        assert rig.outputs.writes_failed == 2


async def test_a_failed_heat_on_is_not_written_again() -> None:
    async with bench() as rig:
        rig.link.failing[PERMIT] = BadReply("refused")
        assert await rig.frame(HEAT) == [(PERMIT, True)]
        rig.link.failing.clear()
        assert await rig.frame(HEAT) == []
        # It may have arrived all the same: then taking it away is written.
        assert await rig.frame(OFF) == [(PERMIT, False)]
        # Granted anew, it is written anew.
        assert await rig.frame(HEAT) == [(PERMIT, True)]


async def test_a_failed_horn_is_written_again() -> None:
    async with bench() as rig:
        rig.link.failing["horn"] = LinkDown("no connection")
        assert await rig.frame(CALL) == [("horn", True)]
        rig.link.failing.clear()
        assert await rig.frame(CALL) == [("horn", True)]
        assert await rig.frame(CALL) == []


async def test_a_failing_output_is_logged_once_for_each_kind_and_when_it_works_again() -> None:
    failed = {"event": "output.write_failed", "log_level": "warning", "output": "horn", "on": True}
    mended = {"event": "output.write_mended", "log_level": "info", "output": "horn", "on": True}
    gone, still_gone, refused = LinkDown("no connection"), LinkDown("waiting"), BadReply("refused")
    async with bench() as rig:
        rig.link.failing["beacon_red"] = gone  # nothing wants it on: not written, not told
        with capture_logs() as logs:
            for trouble in (gone, still_gone, refused, gone, refused, None, None, refused):
                rig.link.failing.pop("horn", None)
                if trouble is not None:
                    rig.link.failing["horn"] = trouble
                await rig.frame(CALL)
            assert logs == [
                {**failed, "error": "no connection"},
                {**failed, "error": "refused"},
                mended,
            ]
            await rig.frame(OFF)
            assert logs[3:] == [{**failed, "on": False, "error": "refused"}]
        assert rig.outputs.writes_failed == 6


async def test_outputs_that_work_are_not_logged() -> None:
    with capture_logs() as logs:
        async with bench() as rig:
            for outputs in (HEAT, CALL, OFF):
                assert await rig.frame(outputs)
    assert logs == []


async def test_what_reads_back_on_though_off_is_written_off_again() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        await rig.frame(OFF)
        rig.link.writes.clear()
        rig.outputs.check({PERMIT: True, "horn": True})
        await settle()
        assert sorted(rig.link.writes) == [(PERMIT, False), ("horn", False)]
        rig.link.writes.clear()
        rig.outputs.check({PERMIT: False, "horn": None})
        await settle()
        assert rig.link.writes == []


async def test_a_relay_that_opened_by_itself_is_not_closed() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        rig.link.writes.clear()
        for readback in (False, None):
            rig.outputs.check({PERMIT: readback})
            assert await rig.frame(HEAT) == []


@pytest.mark.proves("heat away at once, whatever else is failing")
async def test_heat_never_waits_behind_a_hanging_horn() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        rig.link.hanging.add("horn")
        assert await rig.frame(Outputs(heat_permit=True, horn=Horn.STAND_CLEAR)) == [("horn", True)]
        assert (PERMIT, False) in await rig.frame(CALL)
        rig.link.let_go.set()
        await settle()


async def test_a_withdrawal_during_a_hanging_grant_is_written_after_it() -> None:
    async with bench() as rig:
        rig.link.hanging.add(PERMIT)
        assert await rig.frame(HEAT) == [(PERMIT, True)]
        assert await rig.frame(OFF) == []
        rig.link.let_go.set()
        await settle()
        assert rig.link.writes[-1] == (PERMIT, False)


async def test_a_fault_of_our_own_takes_heat_away() -> None:
    async with bench() as rig:
        await rig.frame(HEAT)
        rig.link.writes.clear()
        rig.outputs.take_heat_away()
        await settle()
        assert rig.link.writes == [(PERMIT, False)]
        # Also when it was taken away before, for nobody knows what came in between.
        rig.outputs.take_heat_away()
        await settle()
        assert rig.link.writes == [(PERMIT, False)] * 2


async def test_a_withdrawal_left_unwritten_by_a_fault_is_written_when_begun_again() -> None:
    rig = Bench(ALL)
    task = asyncio.create_task(rig.outputs.run())
    await settle()
    await rig.frame(HEAT)
    rig.link.failing[PERMIT] = RuntimeError("a fault of the link's program")
    await rig.frame(OFF)
    with pytest.raises(ExceptionGroup):
        await task
    rig.link.failing.clear()
    rig.link.writes.clear()
    task = asyncio.create_task(rig.outputs.run())
    await settle()
    assert (PERMIT, False) in rig.link.writes
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task


async def test_the_writing_ends_though_a_cancellation_was_swallowed() -> None:
    rig = Bench(ALL)
    task = asyncio.create_task(rig.outputs.run())
    await settle()
    rig.link.swallows = True
    rig.link.hanging.add("horn")
    await rig.frame(CALL)
    task.cancel()
    done, _ = await asyncio.wait((task,), timeout=2)
    assert done


async def test_a_rig_without_a_relay_is_left_without_one() -> None:
    async with bench({"horn": "relays"}) as rig:
        assert await rig.frame(HEAT) == []
        rig.outputs.take_heat_away()
        await settle()
        assert all(name == "horn" for name, _ in rig.link.writes)
        assert await rig.outputs.all_off(1.0)
    async with bench({}) as bare:
        assert await bare.frame(Outputs(True, Horn.STAND_CLEAR, True, True, True)) == []
        assert await bare.outputs.all_off(1.0)


async def test_time_stands_still_while_a_write_is_under_way() -> None:
    async with bench() as rig:
        assert rig.clock.busy_now == 0
        rig.link.hanging.add("horn")
        await rig.frame(CALL)
        assert rig.clock.busy_now == 1
        rig.link.let_go.set()
        await settle()
        assert rig.clock.busy_now == 0


async def test_all_off_writes_heat_first_and_everything() -> None:
    async with bench() as rig:
        await rig.frame(Outputs(True, Horn.STAND_CLEAR, True, True, True))
        rig.link.writes.clear()
        assert await rig.outputs.all_off(1.0)
        assert rig.link.writes[0] == (PERMIT, False)
        assert sorted(rig.link.writes) == sorted((name, False) for name in ALL)


async def test_a_grant_still_waiting_for_its_commit_dies_with_all_off() -> None:
    async with bench() as rig:
        await rig.frame(HEAT, commit=False)
        assert await rig.outputs.all_off(1.0)
        rig.outputs.committed(rig.seq)
        await settle()
        assert (PERMIT, True) not in rig.link.writes


async def test_all_off_says_when_it_could_not() -> None:
    async with bench() as rig:
        rig.link.failing["horn"] = LinkDown("no connection")
        assert not await rig.outputs.all_off(1.0)
        rig.link.failing.clear()
        rig.link.hanging.add("beacon_red")
        async with asyncio.timeout(5):
            assert not await rig.outputs.all_off(0.02)
        rig.link.let_go.set()


@pytest.mark.parametrize(
    ("pattern", "heard"),
    [
        (Horn.SILENT, "..................."),
        (Horn.COME_WHEN_YOU_CAN, "#.........#........"),
        (Horn.COME_NOW, "###..###..###..###."),
        (Horn.STAND_CLEAR, "###################"),
    ],
)
def test_each_horn_pattern_is_told_apart_by_ear(pattern: Horn, heard: str) -> None:
    assert "".join("#" if sounding(pattern, frame) else "." for frame in range(19)) == heard


async def test_the_horn_pattern_is_written_frame_by_frame() -> None:
    async with bench() as rig:
        writes = []
        for _ in range(10):
            writes += await rig.frame(Outputs(horn=Horn.COME_NOW))
        assert writes == [("horn", on) for on in (True, False, True, False, True)]


# On a real wire: the driver, TCP, and a server that misbehaves.

RELAYS = 3
NUMBERS = {name: number for number, name in enumerate(ALL)}


@asynccontextmanager
async def wired(timeout_s: float = 0.2) -> AsyncIterator[tuple[RigOutputs, FakeServer]]:
    fake = FakeServer({(RELAYS, "coil", number): 0 for number in NUMBERS.values()})
    await fake.start()
    clock = SiteVirtualClock()
    link = open_link(
        "relays",
        TcpSettings(host="127.0.0.1", port=fake.port, timeout_s=timeout_s),
        {},
        {
            f"bay-2/{name}": OutputSettings(unit=RELAYS, register=number, token="bay-2")
            for name, number in NUMBERS.items()
        },
        clock,
    )
    outputs = RigOutputs("bay-2", {"relays": link}, ALL, clock)
    tasks = [asyncio.create_task(link.run()), asyncio.create_task(outputs.run())]
    try:
        async with asyncio.timeout(10):
            await fake.seen(lambda server: len(writes(server)) >= len(ALL))
            yield outputs, fake
    finally:
        await settle()  # no answer under way: a link may swallow a cancellation with it
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await link.close()
        await fake.stop()


def writes(fake: FakeServer) -> list[tuple[int, bool]]:
    return [(one.register, one.value != 0) for one in fake.asked if one.function == 5]


async def test_a_coil_closes_after_the_commit_and_opens_at_once() -> None:
    async with wired() as (outputs, fake):
        outputs.apply(1, HEAT)
        await settle()
        assert fake.values[RELAYS, "coil", 0] == 0
        outputs.committed(1)
        await fake.seen(lambda server: server.values[RELAYS, "coil", 0] == 1)
        outputs.apply(2, OFF)
        await fake.seen(lambda server: server.values[RELAYS, "coil", 0] == 0)


async def test_a_stop_on_a_dead_link_ends_in_its_time_and_says_so() -> None:
    async with wired() as (outputs, fake):
        fake.faults[RELAYS] = Fault.SILENT
        async with asyncio.timeout(3):
            assert not await outputs.all_off(0.3)
        await fake.stop()
        async with asyncio.timeout(3):
            assert not await outputs.all_off(0.3)


async def test_a_module_that_comes_back_is_switched_off_and_not_on() -> None:
    async with wired() as (outputs, fake):
        fake.faults[RELAYS] = Fault.REFUSE
        outputs.apply(1, HEAT)
        outputs.committed(1)
        await fake.seen(lambda server: (0, True) in writes(server))
        fake.asked.clear()
        fake.faults.clear()
        outputs.apply(2, Outputs(heat_permit=True, beacon_amber=True))
        await fake.seen(lambda server: (NUMBERS["beacon_amber"], True) in writes(server))
        assert writes(fake) == [(NUMBERS["beacon_amber"], True)]
        outputs.apply(3, OFF)
        await fake.seen(lambda server: (0, False) in writes(server))


async def test_a_silent_module_does_not_flood_the_log_while_the_horn_calls() -> None:
    async with wired(timeout_s=0.05) as (outputs, fake):
        fake.faults[RELAYS] = Fault.SILENT
        fake.asked.clear()
        with capture_logs() as logs:
            for count, seq in enumerate((1, 3, 6), start=1):
                outputs.apply(seq, Outputs(horn=Horn.COME_NOW))
                await fake.seen(lambda server, count=count: len(writes(server)) >= count)
            assert [on for _, on in writes(fake)] == [True, False, True]
            fake.faults.clear()
            outputs.apply(8, Outputs(horn=Horn.COME_NOW))
            await fake.seen(lambda server: server.values[RELAYS, "coil", NUMBERS["horn"]] == 0)
            outputs.apply(10, Outputs(horn=Horn.COME_NOW))
            await fake.seen(lambda server: server.values[RELAYS, "coil", NUMBERS["horn"]] == 1)
            await settle()
        assert [(line["event"], line["on"]) for line in logs] == [
            ("output.write_failed", True),
            ("output.write_mended", False),
        ]
