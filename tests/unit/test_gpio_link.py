"""Pins at the chip's boundary: edges over a real descriptor, outputs held, a chip that goes."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from drivers.base import BadReply, DeviceClosed, LinkDown
from drivers.gpio import GpioSettings, OutputSettings, PointSettings, open_link
from drivers.gpio.device import GpioLink
from drivers.gpio.fake import QUEUE_EDGES, FakeChip
from tests.virtual_clock import VirtualClock, settle

BUTTON, ESTOP, LAMP, PERMIT = (
    f"bay-1/{name}" for name in ("start_button", "estop_ok", "release_permit", "heat_permit")
)
POINTS = {
    BUTTON: PointSettings(line=4, bias="none"),
    ESTOP: PointSettings(line=17, inverted=True, bias="pull_up", stretch_s=0.0),
}
OUTPUTS = {
    LAMP: OutputSettings(line=22, inverted=True, token="bay-1"),
    PERMIT: OutputSettings(line=27, toggled=True, token="bay-1"),
}
PERIOD_S, HOLD_S = 0.25, 3.0
EVERYTHING = {*POINTS, *OUTPUTS}


class Stand:
    """A chip with a link to it; values invented."""

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.chip = FakeChip()
        self.chip.volts[17] = True  # released
        settings = GpioSettings(chip="pins", period_s=PERIOD_S, hold_s=HOLD_S)
        link = open_link("pins", settings, POINTS, OUTPUTS, self.clock, request=self.chip.request)
        assert isinstance(link, GpioLink)
        self.link = link

    def values(self) -> dict[str, float | None]:
        return {name: sample.value for name, sample in self.link.snapshot().items()}

    def reasons(self) -> set[str]:
        found = self.link.snapshot().values()
        assert all(sample.value is None for sample in found if sample.quality == "bad")
        return {sample.reason for sample in found}

    async def drive(self, *levels: bool, line: int = 4) -> None:
        """Levels one after another, and time for the link to hear of them; the clock stands."""
        for high in levels:
            self.chip.drive(line, high=high)
        await settle()

    async def live(self, seconds: float) -> list[float | None]:
        """Go on with a living owner; what the permit read back, period by period."""
        seen = []
        for _ in range(round(seconds / PERIOD_S)):
            self.link.renew("bay-1")
            await self.clock.advance(PERIOD_S)
            seen.append(self.values()[PERMIT])
        return seen

    def edges_of(self, line: int) -> list[bool]:
        return [high for written, high in self.chip.written if written == line]


@asynccontextmanager
async def watching() -> AsyncIterator[Stand]:
    """A stand whose link runs and has polled once."""
    stand = Stand()
    task = asyncio.create_task(stand.link.run())
    try:
        await stand.clock.advance(0)
        yield stand
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        await stand.link.close()
        assert not stand.chip.held


async def test_before_the_first_poll_nothing_is_claimed() -> None:
    stand = Stand()
    assert stand.reasons() == {"never_read"}
    await stand.link.close()


async def test_starting_switches_everything_off() -> None:
    async with watching() as stand:
        assert stand.values() == {BUTTON: 0.0, ESTOP: 0.0, LAMP: 0.0, PERMIT: 0.0}
        assert stand.chip.written == [(22, True), (27, False)]  # the lamp is inverted


async def test_levels_and_inversion() -> None:
    async with watching() as stand:
        stand.chip.deaf = {4, 17}
        stand.chip.drive(4, high=True)
        stand.chip.drive(17, high=False)
        await stand.clock.advance(PERIOD_S)
        assert (stand.values()[BUTTON], stand.values()[ESTOP]) == (1.0, 1.0)


async def test_an_edge_counts_at_once() -> None:
    async with watching() as stand:
        await stand.clock.advance(0.1)
        await stand.drive(True)
        assert stand.values()[BUTTON] == 1.0
        found = stand.link.snapshot()
        assert found[BUTTON].at_ns == stand.clock.now_ns()
        assert found[ESTOP].at_ns < stand.clock.now_ns()


async def test_a_press_between_two_polls_is_seen_by_every_frame_of_a_second() -> None:
    async with watching() as stand:
        await stand.drive(True, False)
        await stand.clock.advance(1.19)
        assert stand.values()[BUTTON] == 1.0
        await stand.clock.advance(0.02)
        assert stand.values()[BUTTON] == 0.0


async def test_a_point_may_be_stretched_by_nothing() -> None:
    async with watching() as stand:
        await stand.drive(False, True, line=17)
        assert stand.values()[ESTOP] == 0.0


async def test_an_old_edge_never_follows_a_newer_level() -> None:
    async with watching() as stand:
        stand.chip.drive(17, high=False)
        stand.chip.deaf = {17}
        stand.chip.drive(17, high=True)
        await stand.link.poll_once()
        await settle()
        assert stand.values()[ESTOP] == 0.0


async def test_every_poll_makes_all_samples_new() -> None:
    async with watching() as stand:
        for _ in range(3):
            await stand.clock.advance(PERIOD_S)
            now_ns = stand.clock.now_ns()
            assert {one.at_ns for one in stand.link.snapshot().values()} == {now_ns}


async def test_a_contact_that_chatters_is_a_failure_until_it_is_calm() -> None:
    async with watching() as stand:
        for _ in range(4):
            await stand.drive(*[True, False] * 5)
        assert (stand.values()[BUTTON], stand.reasons()) == (None, {"failure", ""})
        assert "check its contact" in stand.link.remarks()[0]
        await stand.clock.advance(1.25)
        assert (stand.values()[BUTTON], stand.reasons()) == (0.0, {""})
        assert stand.link.remarks() == []
        await stand.drive(True)
        assert stand.values()[BUTTON] == 1.0


async def test_a_flood_is_not_listened_to_until_the_next_poll() -> None:
    async with watching() as stand:
        await stand.drive(*[True, False] * 8)
        await stand.drive(*[True, False] * 8)
        heard_ns = stand.link.snapshot()[BUTTON].at_ns
        await stand.clock.advance(0.1)
        await stand.drive(*[True, False] * 8)
        assert stand.link.snapshot()[BUTTON].at_ns == heard_ns
        await stand.clock.advance(2.0)
        await stand.drive(True)
        assert stand.link.snapshot()[BUTTON].at_ns == stand.clock.now_ns()


async def test_edges_that_the_queue_lost_are_counted() -> None:
    async with watching() as stand:
        await stand.drive(True, False)
        # More at once than the queue holds: the oldest are lost.
        await stand.drive(*[True, False] * QUEUE_EDGES)
        assert stand.link.statistics().failures == QUEUE_EDGES
        assert stand.reasons() == {"failure", ""}


async def test_an_output_is_on_only_while_its_owner_lives() -> None:
    async with watching() as stand:
        await stand.link.write(LAMP, on=True)
        assert stand.chip.volts[22] is False
        await stand.live(6.0)
        assert stand.values()[LAMP] == 1.0
        await stand.clock.advance(HOLD_S - 2 * PERIOD_S)
        assert stand.values()[LAMP] == 1.0
        await stand.clock.advance(3 * PERIOD_S)
        assert (stand.values()[LAMP], stand.chip.volts[22]) == (0.0, True)


async def test_another_owner_keeps_nothing_on() -> None:
    async with watching() as stand:
        await stand.link.write(LAMP, on=True)
        for _ in range(16):
            stand.link.renew("bay-2")
            await stand.clock.advance(PERIOD_S)
        assert stand.values()[LAMP] == 0.0


async def test_nothing_is_switched_on_for_an_owner_that_is_not_alive() -> None:
    async with watching() as stand:
        await stand.clock.advance(HOLD_S)
        for name in (LAMP, PERMIT):
            with pytest.raises(BadReply, match="not alive"):
                await stand.link.write(name, on=True)
        await stand.link.write(LAMP, on=False)
        stand.link.renew("bay-1")
        await stand.link.write(LAMP, on=True)
        assert stand.link.statistics().write_failures == 2


async def test_a_moving_output_has_an_edge_every_period() -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        assert stand.values()[PERMIT] == 0.0, "no edge was seen yet"
        assert stand.edges_of(27) == [False, False, True]
        assert await stand.live(2.0) == [1.0] * 8
        assert stand.edges_of(27)[3:] == [False, True] * 4


async def test_written_again_while_it_moves_it_is_left_alone() -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        await stand.live(1.0)
        before = list(stand.chip.written)
        await stand.link.write(PERMIT, on=True)
        assert stand.chip.written == before


async def test_switched_off_it_stops_at_once() -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        await stand.live(1.0)
        await stand.link.write(PERMIT, on=False)
        assert (stand.values()[PERMIT], stand.chip.volts[27]) == (0.0, False)
        before = len(stand.edges_of(27))
        await stand.live(2.0)
        assert len(stand.edges_of(27)) == before


async def test_it_moves_no_more_when_its_owner_hangs() -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        await stand.live(1.0)
        await stand.clock.advance(HOLD_S)
        before = stand.edges_of(27)
        assert (stand.values()[PERMIT], before[-1]) == (0.0, False)
        await stand.live(3.0)  # its owner is back, and nobody switched it on
        assert stand.edges_of(27) == before


async def test_it_moves_no_more_when_the_link_does_not_run() -> None:
    stand = Stand()
    task = asyncio.create_task(stand.link.run())
    await stand.clock.advance(0)
    await stand.link.write(PERMIT, on=True)
    await stand.live(1.0)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert stand.values()[PERMIT] == 0.0
    before = stand.edges_of(27)
    await stand.link.poll_once()
    assert stand.edges_of(27)[len(before) :] in ([], [False])
    await stand.link.close()


@pytest.mark.parametrize(("before_s", "level"), [(1.0, True), (1.25, False)])
async def test_stuck_it_does_not_count_as_on(before_s: float, level: bool) -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        await stand.live(before_s)
        assert stand.chip.volts[27] is level
        stand.chip.stuck.add(27)
        # The edge written before still counts, and two and a half periods after it.
        assert await stand.live(1.25) == [1.0, 1.0, 1.0, 0.0, 0.0]
        assert stand.edges_of(27)[-1] is False
        before = len(stand.edges_of(27))
        stand.chip.stuck.clear()
        assert set(await stand.live(2.0)) == {0.0}, "it began again by itself"
        assert len(stand.edges_of(27)) == before


async def test_an_output_that_does_not_follow_is_said() -> None:
    async with watching() as stand:
        stand.chip.stuck = {22, 27}
        for name in (LAMP, PERMIT):
            with pytest.raises(BadReply, match="did not follow"):
                await stand.link.write(name, on=True)
        assert set(await stand.live(1.0)) == {0.0}


async def test_the_chip_goes_and_comes_back_with_everything_off() -> None:
    async with watching() as stand:
        await stand.link.write(LAMP, on=True)
        await stand.link.write(PERMIT, on=True)
        await stand.live(1.0)
        good_ns = stand.clock.now_ns()
        stand.chip.unplug()
        await settle()
        assert stand.reasons() == {"link_down"}
        await stand.live(2.0)
        assert stand.reasons() == {"link_down"}
        assert {one.at_ns for one in stand.link.snapshot().values()} == {good_ns}
        assert "no such chip" in stand.link.remarks()[0]
        with pytest.raises(LinkDown):
            await stand.link.write(LAMP, on=True)
        stand.chip.replug()
        await stand.live(1.0)
        assert stand.values() == {BUTTON: 0.0, ESTOP: 0.0, LAMP: 0.0, PERMIT: 0.0}
        assert (stand.chip.volts[22], stand.chip.volts[27]) == (True, False)
        assert stand.link.statistics().reconnects == 1
        await stand.drive(True)
        assert stand.values()[BUTTON] == 1.0


async def test_back_at_once_it_does_not_go_on_moving() -> None:
    async with watching() as stand:
        await stand.link.write(PERMIT, on=True)
        await stand.live(1.0)
        stand.chip.unplug()
        await settle()
        stand.chip.replug()
        before = len(stand.edges_of(27))
        assert set(await stand.live(2.0)) == {0.0}
        assert True not in stand.edges_of(27)[before:]


async def test_lost_in_a_write() -> None:
    async with watching() as stand:
        stand.chip.unplug()
        with pytest.raises(LinkDown, match="check its plug"):
            await stand.link.write(LAMP, on=True)
        assert stand.reasons() == {"link_down"}


async def test_a_button_held_while_the_chip_was_away_is_no_press() -> None:
    async with watching() as stand:
        stand.chip.unplug()
        await settle()
        stand.chip.drive(4, high=True)
        stand.chip.replug()
        await stand.live(0.5)
        assert stand.values()[BUTTON] == 1.0
        await stand.drive(False)
        assert stand.values()[BUTTON] == 0.0, "stretched, though nobody saw it pressed"


async def test_lines_that_another_program_holds() -> None:
    stand = Stand()
    stand.chip.busy = True
    await stand.link.poll_once()
    assert stand.reasons() == {"link_down"}
    assert "in use" in stand.link.remarks()[0]
    stand.chip.busy = False
    await stand.link.poll_once()
    assert stand.reasons() == {""}
    await stand.link.close()


async def test_closing_switches_off_and_ends_run() -> None:
    stand = Stand()
    task = asyncio.create_task(stand.link.run())
    await stand.clock.advance(0)
    await stand.link.write(LAMP, on=True)
    await stand.link.write(PERMIT, on=True)
    await stand.link.close()
    await stand.link.close()
    assert (stand.chip.volts[22], stand.chip.volts[27]) == (True, False)
    assert stand.reasons() == {"link_down"}
    assert not stand.chip.held
    await stand.clock.advance(PERIOD_S)
    await asyncio.wait_for(task, 1)
    for use in (stand.link.run, stand.link.poll_once):
        with pytest.raises(DeviceClosed):
            await use()
    with pytest.raises(DeviceClosed):
        await stand.link.write(LAMP, on=False)


async def test_names() -> None:
    stand = Stand()
    with pytest.raises(KeyError, match="no such output"):
        await stand.link.write(BUTTON, on=True)
    with pytest.raises(ValueError, match="remove the point"):
        open_link("pins", GpioSettings(chip="x"), {LAMP: POINTS[BUTTON]}, OUTPUTS, stand.clock)
    assert stand.link.snapshot().keys() == EVERYTHING
    await stand.link.close()
