"""A whole link on a serial bus: several rigs' modules, silence, unplugging, writes in between."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio

from drivers.base import BadReply, LinkDown
from drivers.modbus import OutputSettings, PointSettings, RtuSettings, open_link
from drivers.modbus.device import ModbusLink
from drivers.modbus.fake_rtu import FakeBus, RtuFault
from tests.unit.rtu_bench import GUARD_S
from tests.virtual_clock import VirtualClock

POINTS = {
    f"bay-{unit}/pad_inner_c": PointSettings(
        unit=unit, table="input", register=0, type="int16", scale=0.1
    )
    for unit in (1, 2, 3)
}
OUTPUT = "bay-1/heat_permit"
VALUES = {**{(unit, "input", 0): 1400 + unit for unit in (1, 2, 3)}, (9, "coil", 0): 0}


class Bay:
    def __init__(self, folder: Path, timeout_s: float = 0.05) -> None:
        self.clock = VirtualClock()
        self.fake = FakeBus(VALUES, folder / "usb-bus")
        link = open_link(
            "bus",
            RtuSettings(device=str(folder / "usb-bus"), parity="none", timeout_s=timeout_s),
            POINTS,
            {OUTPUT: OutputSettings(unit=9, register=0, token="bay-1")},
            self.clock,
        )
        assert isinstance(link, ModbusLink)
        self.link = link

    async def poll(self, after_s: float = 1.0) -> None:
        await self.clock.advance(after_s)
        async with asyncio.timeout(GUARD_S):
            await self.link._poll()

    def reasons(self) -> dict[int, str]:
        found = self.link.snapshot()
        return {unit: found[f"bay-{unit}/pad_inner_c"].reason for unit in (1, 2, 3)}

    def values(self) -> dict[int, float | None]:
        found = self.link.snapshot()
        return {unit: found[f"bay-{unit}/pad_inner_c"].value for unit in (1, 2, 3)}


@pytest_asyncio.fixture
async def bay(tmp_path: Path) -> AsyncIterator[Bay]:
    made = Bay(tmp_path)
    await made.fake.start()
    yield made
    await made.link.close()
    await made.fake.stop()


WELL = {1: "", 2: "", 3: ""}
TRUTH = {unit: pytest.approx(140.0 + unit / 10) for unit in (1, 2, 3)}


async def test_several_rigs_modules_on_one_bus(bay: Bay) -> None:
    await bay.poll()
    assert bay.values() == TRUTH
    await bay.link.write(OUTPUT, on=True)
    await bay.poll()
    assert bay.link.snapshot()[OUTPUT].value == 1.0
    assert bay.link.statistics().reconnects == 0


async def test_a_silent_module_costs_its_neighbours_nothing_and_comes_back(bay: Bay) -> None:
    bay.fake.faults = {2: RtuFault.SILENT}
    for _ in range(6):
        await bay.poll()
        assert bay.reasons() == {1: "", 2: "no_reply", 3: ""}
    asked = sum(one.unit == 2 for one in bay.fake.asked)
    assert asked == 3  # every late_s, not every period
    bay.fake.faults = {}
    for _ in range(3):
        await bay.poll()
    assert bay.values() == TRUTH


async def test_one_lost_answer_is_asked_for_again_before_modules_long_dead(bay: Bay) -> None:
    """Other rigs' modules are off every evening; that costs the rig at work nothing."""
    bay.fake.faults = dict.fromkeys((1, 2, 3), RtuFault.SILENT)
    for _ in range(4):
        await bay.poll()
    bay.fake.faults[9] = RtuFault.SILENT
    await bay.poll()
    del bay.fake.faults[9]
    assert bay.link.snapshot()[OUTPUT].reason == "no_reply"
    bay.fake.asked.clear()
    await bay.poll()
    assert len(bay.fake.asked) == 1  # the turn of a dead one, as 9 may not be asked yet
    await bay.poll()
    assert bay.link.snapshot()[OUTPUT].reason == ""
    # Nor are those forgotten, however often one falls silent and comes back.
    bay.fake.asked.clear()
    for fault in ({9: RtuFault.SILENT}, {}, {}) * 4:
        bay.fake.faults = fault | dict.fromkeys((1, 2, 3), RtuFault.SILENT)
        await bay.poll()
    assert {one.unit for one in bay.fake.asked} == {1, 2, 3, 9}


async def test_one_lost_answer_costs_two_polls_though_they_come_a_little_early(bay: Bay) -> None:
    await bay.poll()
    bay.fake.faults = {3: RtuFault.SILENT}
    await bay.poll()
    bay.fake.faults = {}
    await bay.poll()
    assert bay.reasons()[3] == "no_reply"
    await bay.poll(0.9)
    assert bay.reasons() == WELL


async def test_a_dead_bus_is_opened_again_and_its_modules_still_left_alone(bay: Bay) -> None:
    """A poll that heard nothing drops the port; what modules owe does not end with it."""
    bay.fake.faults = dict.fromkeys((1, 2, 3, 9), RtuFault.SILENT)
    await bay.poll()
    asked = len(bay.fake.asked)
    assert asked == len(VALUES)
    await bay.poll()
    assert bay.link.statistics().reconnects == 1
    assert len(bay.fake.asked) == asked
    bay.fake.faults = {}
    await bay.poll()
    assert bay.values() == TRUTH


async def test_a_module_that_answers_twice_is_told_and_spoils_nobody_else(bay: Bay) -> None:
    bay.fake.faults = {1: RtuFault.DOUBLED_LATE}
    seen = set()
    for _ in range(6):
        await bay.poll()
        assert bay.values()[1] in (TRUTH[1], None)
        assert bay.values()[2] == TRUTH[2]
        assert bay.values()[3] == TRUTH[3]
        seen.add(bay.reasons()[1])
    assert seen == {"", "bad_reply"}


async def test_another_master_stops_everything_but_switching_off(bay: Bay) -> None:
    await bay.poll()
    bay.fake.faults = {1: RtuFault.SECOND_MASTER}
    await bay.poll()
    assert bay.reasons() == dict.fromkeys((1, 2, 3), "bad_reply")
    with pytest.raises(BadReply, match="another master"):
        await bay.link.write(OUTPUT, on=True)
    await bay.link.write(OUTPUT, on=False)
    bay.fake.faults = {}
    await bay.poll(2.0)
    assert bay.reasons() == WELL


async def test_pulled_out_and_back_under_another_name(bay: Bay) -> None:
    await bay.poll()
    await bay.fake.stop()
    for _ in range(3):
        await bay.poll()
    assert bay.reasons() == dict.fromkeys((1, 2, 3), "link_down")
    with pytest.raises(LinkDown, match="no such port"):
        await bay.link.write(OUTPUT, on=False)
    await bay.fake.start()
    await bay.link.write(OUTPUT, on=False)  # a write finds the port without waiting its turn
    await bay.poll()
    assert bay.values() == TRUTH


async def test_a_probe_gives_way_to_a_write(tmp_path: Path) -> None:
    bay = Bay(tmp_path, timeout_s=0.9)
    await bay.fake.start()
    bay.fake.faults = {2: RtuFault.SILENT}
    await bay.poll()
    await bay.clock.advance(2.0)
    polling = asyncio.ensure_future(bay.link._poll())
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(GUARD_S):
        await bay.fake.seen(lambda fake: sum(one.unit == 2 for one in fake.asked) == 2)
        began_s = loop.time()
        await bay.link.write(OUTPUT, on=False)
        assert loop.time() - began_s < 0.5  # it did not wait for the probe's 0.9 s
        await polling
    assert bay.reasons()[2] == "no_reply"
    await bay.link.close()
    await bay.fake.stop()


async def test_what_a_hung_rig_left_on_is_let_go_over_the_bus(bay: Bay) -> None:
    """Its neighbours go on being polled; that keeps nothing on."""
    await bay.poll()
    bay.link.renew("bay-1")
    await bay.link.write(OUTPUT, on=True)
    await bay.clock.advance(2.9)
    await bay.link._let_go()
    assert bay.fake.values[9, "coil", 0] == 1
    await bay.clock.advance(0.1)
    await bay.link._let_go()
    assert bay.fake.values[9, "coil", 0] == 0
