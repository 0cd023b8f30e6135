"""The kernel's sensors on a made tree: hung reads, devices that go and come, wrong texts."""

import asyncio
import os
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest

from drivers.base import DeviceClosed, Link, Sample
from drivers.linux_iio import KINDS, PointSettings, SysfsSettings, open_link
from drivers.linux_iio.device import SysfsLink
from drivers.linux_iio.fake import FakeSysfs
from tests.virtual_clock import VirtualClock, settle

PAD, WALL, SUPPLY = "bay-1/pad_inner_c", "bay-1/tyre_wall_c", "bay-1/supply_mv"
POINTS = {
    PAD: PointSettings(device="pad_converter", attribute="in_temp0"),
    SUPPLY: PointSettings(device="pad_converter", attribute="in_voltage1"),
    WALL: PointSettings(device="wall_sensor", attribute="temp1"),
}
GUARD_S = 5.0


@pytest.fixture
def tree(tmp_path: Path) -> FakeSysfs:
    return FakeSysfs(tmp_path / "sys")


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


def plug_pads(tree: FakeSysfs, number: int = 0, raw: str = "2240", where: str = "1-0048") -> Path:
    files = {
        "in_temp0_raw": raw,
        "in_temp_scale": "62.5",
        "in_voltage1_raw": "1000",
        "in_voltage_scale": "2",
        "in_voltage_offset": "100",
    }
    return tree.plug("iio", number, "pad_converter", files, where)


def plug_wall(tree: FakeSysfs, number: int = 0) -> Path:
    files = {"temp1_input": "31500", "temp1_fault": "0"}
    return tree.plug("hwmon", number, "wall_sensor", files, "1-004a")


@asynccontextmanager
async def opened(
    tree: FakeSysfs,
    clock: VirtualClock,
    points: dict[str, PointSettings] = POINTS,
    timeout_s: float = 2.0,
) -> AsyncIterator[SysfsLink]:
    settings = SysfsSettings(sysfs=str(tree.root), timeout_s=timeout_s, period_s=2.0)
    link = open_link("board", settings, points, {}, clock)
    assert isinstance(link, SysfsLink)
    try:
        yield link
    finally:
        await link.close()


def reasons(link: Link) -> dict[str, str]:
    return {name: sample.reason for name, sample in link.snapshot().items()}


async def until_back(name: str) -> None:
    """Until the thread that reads the device of this name has come back."""
    for thread in threading.enumerate():
        if name in thread.name:
            await asyncio.to_thread(thread.join, GUARD_S)
            assert not thread.is_alive()
    # asyncio's own helper thread; the link has none of these.
    await asyncio.get_running_loop().shutdown_default_executor()
    await settle()


async def opened_for_its_reader(file: Path) -> int:
    """The writing end of a FIFO, as soon as somebody waits to read it."""
    async with asyncio.timeout(GUARD_S):
        while True:
            with suppress(OSError):  # ENXIO: nobody yet
                return os.open(file, os.O_WRONLY | os.O_NONBLOCK)
            await settle()


def reading_threads(name: str) -> int:
    return sum(name in thread.name for thread in threading.enumerate())


async def test_before_the_first_poll_nothing_is_claimed(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    async with opened(tree, clock) as link:
        assert set(reasons(link).values()) == {"never_read"}


async def test_both_subsystems_are_read(tree: FakeSysfs, clock: VirtualClock) -> None:
    plug_pads(tree)
    plug_wall(tree)
    async with opened(tree, clock) as link:
        await link.poll_once()
        found = link.snapshot()
        assert found[PAD] == Sample(140.0, "good", "", clock.now_ns(), tuple(b"2240\n"))
        assert found[SUPPLY].value == 2200.0
        assert found[WALL].value == 31.5
        assert link.remarks() == []


async def test_the_channels_own_scale_goes_before_the_shared(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    folder = plug_pads(tree)
    (folder / "in_temp0_scale").write_text("10\n")
    (folder / "in_temp0_offset").write_text("-240\n")
    async with opened(tree, clock) as link:
        await link.poll_once()
        assert link.snapshot()[PAD].value == 20.0


async def test_a_device_that_hangs_costs_one_thread_and_no_other_device(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    folder = plug_pads(tree)
    plug_wall(tree)
    file = folder / "in_temp0_raw"
    troubles: list[object] = []
    asyncio.get_running_loop().set_exception_handler(lambda _loop, what: troubles.append(what))
    async with opened(tree, clock, timeout_s=0.5) as link:
        await link.poll_once()
        good_ns = clock.now_ns()
        tree.hang(file)
        try:
            for _ in range(3):
                await clock.advance(1.0)
                await link.poll_once()
                found = link.snapshot()
                assert found[PAD] == Sample(None, "bad", "no_reply", good_ns)
                assert found[SUPPLY] == Sample(None, "bad", "no_reply", good_ns)
                assert found[WALL].value == 31.5
                assert found[WALL].at_ns == clock.now_ns()
                assert reading_threads("pad_converter") == 1
            (remark,) = link.remarks()
            assert remark.startswith("link board: pad_converter did not answer within timeout_s = ")
            assert "hangs in the kernel" in remark
            assert "raise timeout_s" in remark, "it may be slow only"
            assert link.statistics().requests == 2 + 4  # the hung one was asked once more, not 3
        finally:
            tree.release(file, b"1\n")
        await until_back("pad_converter")
        assert link.snapshot()[PAD].value is None, "what came too late was taken"
        assert troubles == []
        await link.poll_once()
        assert link.snapshot()[PAD].value == 140.0
        assert link.remarks() == []


async def test_cancelled_and_closed_while_a_read_hangs(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    file = plug_pads(tree) / "in_temp0_raw"
    tree.hang(file)
    try:
        async with opened(tree, clock) as link:
            running = asyncio.create_task(link.run())
            await settle()
            running.cancel()
            async with asyncio.timeout(GUARD_S):
                await asyncio.gather(running, return_exceptions=True)
            assert running.cancelled()
            await link.close()
            await link.close()
            assert set(reasons(link).values()) == {"link_down"}
    finally:
        tree.release(file)
    await until_back("pad_converter")
    assert link.snapshot()[PAD].value is None


async def test_what_comes_after_closing_is_not_taken(tree: FakeSysfs, clock: VirtualClock) -> None:
    file = plug_pads(tree) / "in_temp0_raw"
    file.unlink()
    os.mkfifo(file)
    async with opened(tree, clock) as link:
        poll = asyncio.create_task(link.poll_once())
        pipe = await opened_for_its_reader(file)
        await link.close()
        os.write(pipe, b"2240\n")
        os.close(pipe)
        await poll
        found = link.snapshot()
        assert (found[PAD].value, set(reasons(link).values())) == (None, {"link_down"})


async def test_back_under_another_number(tree: FakeSysfs, clock: VirtualClock) -> None:
    folder = plug_pads(tree, 0)
    async with opened(tree, clock) as link:
        await link.poll_once()
        tree.unplug(folder)
        # Another device has its number meanwhile.
        tree.plug("iio", 0, "other", {"in_temp0_input": "99000"}, "1-0050")
        await link.poll_once()
        assert (link.snapshot()[PAD].value, reasons(link)[PAD]) == (None, "link_down")
        assert "no iio device pad_converter" in " ".join(link.remarks())
        plug_pads(tree, 7, raw="2080")
        await link.poll_once()
        assert link.snapshot()[PAD].value == 130.0


async def test_two_of_one_name_are_never_guessed_at(tree: FakeSysfs, clock: VirtualClock) -> None:
    plug_pads(tree, 0, "2240", "1-0048")
    plug_pads(tree, 1, "1600", "1-0049")
    there = {
        "told": PointSettings(device="pad_converter", bus_address="1-0049", attribute="in_temp0"),
        "not told": PointSettings(device="pad_converter", attribute="in_temp0"),
    }
    async with opened(tree, clock, there) as link:
        await link.poll_once()
        assert link.snapshot()["told"].value == 100.0
        assert link.snapshot()["not told"].value is None
        assert reasons(link)["not told"] == "link_down"
        assert "bus_address" in link.remarks()[0]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "bad_reply"),
        ("rubbish", "bad_reply"),
        ("1" * 100_000, "bad_reply"),
        ("7\n8", "bad_reply"),
    ],
)
async def test_garbage(tree: FakeSysfs, clock: VirtualClock, text: str, reason: str) -> None:
    file = plug_pads(tree) / "in_temp0_raw"
    async with opened(tree, clock) as link:
        await link.poll_once()
        good_ns = clock.now_ns()
        file.write_text(text)
        await clock.advance(1.0)
        await link.poll_once()
        pad = link.snapshot()[PAD]
        assert (pad.value, pad.reason, pad.at_ns) == (None, reason, good_ns)
        assert link.snapshot()[SUPPLY].value == 2200.0


async def test_an_error_of_the_bus(tree: FakeSysfs, clock: VirtualClock) -> None:
    file = plug_pads(tree) / "in_temp0_raw"
    async with opened(tree, clock) as link:
        tree.fail(file)
        await link.poll_once()
        assert (link.snapshot()[PAD].value, reasons(link)[PAD]) == (None, "bad_reply")
        assert link.snapshot()[SUPPLY].value == 2200.0
        tree.mend(file)
        await link.poll_once()
        assert link.snapshot()[PAD].value == 140.0


@pytest.mark.parametrize("how", ["reading it", "opening it"])
async def test_a_failing_offset_is_not_an_absent_one(
    tree: FakeSysfs, clock: VirtualClock, how: str
) -> None:
    file = plug_pads(tree) / "in_voltage_offset"
    async with opened(tree, clock) as link:
        tree.fail(file)
        if how == "opening it":
            file.unlink()
            file.symlink_to(file.name)  # ELOOP
        await link.poll_once()
        assert (link.snapshot()[SUPPLY].value, reasons(link)[SUPPLY]) == (None, "bad_reply")


async def test_gone_between_its_files(tree: FakeSysfs, clock: VirtualClock) -> None:
    """Gone after its offset was looked for in vain: no value without the offset."""
    folder = plug_pads(tree)
    scale = folder / "in_voltage_scale"
    scale.unlink()
    os.mkfifo(scale)
    async with opened(tree, clock, {SUPPLY: POINTS[SUPPLY]}) as link:
        poll = asyncio.create_task(link.poll_once())
        pipe = await opened_for_its_reader(scale)
        # The device goes, and another takes its name and number.
        tree.unplug(folder)
        other = plug_pads(tree)
        (other / "in_voltage_offset").unlink()
        os.write(pipe, b"2\n")
        os.close(pipe)
        await poll
        assert (link.snapshot()[SUPPLY].value, reasons(link)[SUPPLY]) == (None, "link_down")
        await link.poll_once()
        assert link.snapshot()[SUPPLY].value == 2000.0  # the other's own: no offset


@pytest.mark.parametrize(
    ("said", "reason", "value"), [("0", "", 31.5), ("1", "open_circuit", None)]
)
async def test_hwmon_fault(
    tree: FakeSysfs, clock: VirtualClock, said: str, reason: str, value: float | None
) -> None:
    (plug_wall(tree) / "temp1_fault").write_text(said)
    async with opened(tree, clock) as link:
        await link.poll_once()
        assert (link.snapshot()[WALL].value, reasons(link)[WALL]) == (value, reason)


async def test_thermocouple_fault_of_iio(tree: FakeSysfs, clock: VirtualClock) -> None:
    folder = plug_pads(tree)
    (folder / "fault_oc").write_text("1\n")
    async with opened(tree, clock) as link:
        await link.poll_once()
        assert reasons(link)[PAD] == "open_circuit"
        assert link.snapshot()[SUPPLY].value == 2200.0


async def test_wrong_attribute_and_unknown_scale_are_said(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    folder = plug_pads(tree)
    (folder / "in_temp_scale").unlink()
    points = {PAD: POINTS[PAD]}
    async with opened(tree, clock, points) as link:
        await link.poll_once()
        assert reasons(link)[PAD] == "missing"
        assert "without a scale" in link.remarks()[0]
        (folder / "in_temp0_raw").unlink()
        await link.poll_once()
        assert reasons(link)[PAD] == "link_down"
        assert "no such attribute" in link.remarks()[0]


async def test_run_polls_on_its_grid_and_ends_when_closed(
    tree: FakeSysfs, clock: VirtualClock
) -> None:
    plug_wall(tree)
    points = {WALL: POINTS[WALL]}
    async with opened(tree, clock, points) as link:
        running = asyncio.create_task(link.run())
        for polls in (1, 2, 3):
            async with asyncio.timeout(GUARD_S):
                while clock.sleepers < 1:
                    await settle()
            assert link.statistics().polls == polls
            assert link.snapshot()[WALL].at_ns == clock.now_ns()
            await clock.advance(2.0)
        await link.close()
        await clock.advance(2.0)
        async with asyncio.timeout(GUARD_S):
            await running


async def test_closed_is_closed(tree: FakeSysfs, clock: VirtualClock) -> None:
    async with opened(tree, clock) as link:
        with pytest.raises(KeyError, match="only reads"):
            await link.write(PAD, on=True)
        await link.close()
        for use in (link.poll_once, link.run):
            with pytest.raises(DeviceClosed):
                await use()
        with pytest.raises(DeviceClosed):
            await link.write(PAD, on=True)


def test_only_reads() -> None:
    (kind,) = KINDS
    assert kind.output is None
    assert list(kind.faults(SysfsSettings(), POINTS, {})) == []
    assert "only read" in next(iter(kind.faults(SysfsSettings(), {}, {"horn": None})))
    with pytest.raises(ValueError, match="only read"):
        open_link("board", SysfsSettings(), {}, {"horn": None}, VirtualClock())
