"""Ten thousand bruised answers on every wire that carries bytes: never a wrong value.

Every answer differs from the one before, so that an old one shows. What a
bruised answer may still say is worked out here, apart from the drivers: with a
checksum only what stands under a right one. The seed and the turn of a failure
replay it; on the serial bus the bytes are the same, the instants are not. Pins
carry no bytes: a level is one bit, and no other bit tells whether it is true.
"""

import asyncio
import random
from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from drivers.base import Link
from drivers.linux_iio import PointSettings as SysfsPoint
from drivers.linux_iio import SysfsSettings
from drivers.linux_iio import open_link as open_sysfs
from drivers.linux_iio.fake import FakeSysfs
from drivers.modbus import PointSettings, RtuSettings, TcpSettings, open_link
from drivers.modbus.fake import FakeServer
from drivers.modbus.fake_rtu import FakeBus, frame
from drivers.serial_lines import LinesSettings
from drivers.serial_lines import PointSettings as LinePoint
from drivers.serial_lines import open_link as open_lines
from drivers.serial_lines.fake import FakeBoard, bitwise_checksum
from tests.contract.stands import GUARD_S, bruised
from tests.virtual_clock import NS_PER_S, VirtualClock, settle

pytestmark = pytest.mark.proves("bad bytes: nothing acted on")

SEEDS = (1, 2, 3, 4)
TURNS = 2500  # for each of them
AT_ONCE = 25  # where most of the time is spent waiting
READS = ("pad_inner_c", "pad_outer_c")
MODULE = {
    name: PointSettings(unit=1, table="input", register=place, type="int16", scale=0.1)
    for place, name in enumerate(READS)
}
Pair = tuple[float, float]


def dice_of(seed: int | str) -> random.Random:
    """Dice that fall the same way every time."""
    return random.Random(seed)  # noqa: S311 - seeded so that a failure can be replayed


def truth(turn: int) -> Pair:
    """What is measured at a turn; no two within a thousand turns are alike."""
    return 100.0 + turn % 1009 / 10, 250.0 - turn % 1013 / 10


def counts(turn: int) -> dict[tuple[int, str, int], int]:
    """The same, as a module holds it."""
    return {(1, "input", place): round(value * 10) for place, value in enumerate(truth(turn))}


class Tally:
    """How many answers were believed, each of them looked at."""

    def __init__(self) -> None:
        self.believed = 0

    def look(self, link: Link, when: str, legal: Collection[Pair], since_ns: int) -> None:
        """Check what a link says now.

        Args:
            link: reads `READS`.
            when: the seed and the turn, for the message of a failure.
            legal: all that the newest answer may say.
            since_ns: what is older was looked at before.
        """
        found = [link.snapshot()[name] for name in READS]
        for sample in found:
            assert (sample.value is None) == (sample.quality == "bad")
        values = tuple(sample.value for sample in found)
        if None in values or found[0].at_ns < since_ns:
            return
        self.believed += 1
        near = any(values == pytest.approx(one) for one in legal)
        assert near, f"{when}: {values} read, {list(legal)} said"

    def both_ways(self, turns: int) -> None:
        """Some were believed and most were not, else this has shown nothing."""
        assert turns / 50 < self.believed < turns / 1.5


@pytest.mark.parametrize("seed", SEEDS)
async def test_modbus_tcp(seed: int) -> None:
    """It has no checksum: data changed under a whole header cannot be known."""
    dice, tally, clock = dice_of(seed), Tally(), VirtualClock()
    legal: list[Pair] = []

    def mutated(answer: bytes) -> bytes:
        changed = bruised(answer, dice)
        legal.clear()
        if changed[:9] == answer[:9] and len(changed) >= len(answer):
            legal.append(_words(changed[9:13]))
        return changed

    fake = FakeServer(counts(0))
    fake.mutate = mutated
    await fake.start()
    # No time-out comes near: where one would, the connection is ended instead.
    settings = TcpSettings(
        host="127.0.0.1", port=fake.port, timeout_s=10.0, period_s=10.0, hold_s=10.0
    )
    link = open_link("bay", settings, MODULE, {}, clock)
    for turn in range(TURNS):
        fake.values.update(counts(turn))
        clock._now_ns += NS_PER_S  # nobody sleeps by it
        poll = asyncio.ensure_future(link.poll_once())
        await settle()
        while not poll.done():
            await fake.hang_up()
            await settle()
        await poll
        tally.look(link, f"seed {seed}, turn {turn}", legal, clock.now_ns())
    await link.close()
    await fake.stop()
    tally.both_ways(TURNS)


@pytest.mark.parametrize("seed", SEEDS)
async def test_modbus_rtu(seed: int, tmp_path: Path) -> None:
    tally = Tally()
    async with asyncio.timeout(3 * GUARD_S), asyncio.TaskGroup() as tasks:
        for one in range(AT_ONCE):
            tasks.create_task(_bruise_bus(tmp_path / f"usb-bus-{one}", f"{seed}/{one}", tally))
    tally.both_ways(TURNS)


async def _bruise_bus(port: Path, seed: str, tally: Tally) -> None:
    dice, clock = dice_of(seed), VirtualClock()
    legal: list[Pair] = []

    def mutated(answer: bytes) -> bytes:
        changed = bruised(answer, dice)
        legal[:] = _under_a_right_checksum(changed)
        return changed

    fake = FakeBus(counts(0), port)
    fake.mutate = mutated
    await fake.start()
    settings = RtuSettings(
        device=fake.device, baud_rate=115200, parity="none", timeout_s=0.03, late_s=0.03
    )
    link = open_link("bus", settings, MODULE, {}, clock)
    for turn in range(TURNS // AT_ONCE):
        fake.values.update(counts(turn))
        clock._now_ns += NS_PER_S  # nobody sleeps by it
        legal.clear()
        await link.poll_once()
        tally.look(link, f"seed {seed}, turn {turn}", legal, clock.now_ns())
    await link.close()
    await fake.stop()


def _under_a_right_checksum(data: bytes) -> list[Pair]:
    windows = (data[start : start + 9] for start in range(len(data) - 8))
    return [
        _words(found[3:7])
        for found in windows
        if found[:3] == b"\x01\x04\x04" and found == frame(1, found[1:7])
    ]


def _words(data: bytes) -> Pair:
    inner, outer = (int.from_bytes(data[at : at + 2], "big", signed=True) for at in (0, 2))
    return inner / 10, outer / 10


@pytest.mark.parametrize("form", ["key_value", "csv"])
@pytest.mark.parametrize("seed", SEEDS[:2])
async def test_serial_lines(seed: int, form: str, tmp_path: Path) -> None:
    """Behind each bruised line comes a whole one, or no board would ever be believed."""
    dice, tally, clock = dice_of(seed), Tally(), VirtualClock()
    heard, turn = b"", 0

    def mutated(line: bytes) -> bytes:
        nonlocal heard
        changed = bruised(line, dice) if turn % 2 else line
        heard += changed
        return changed

    board = FakeBoard(tmp_path / "board", {}, form)
    board.mutate = mutated
    board.plug()
    settings = LinesSettings(
        device=str(board.path), form=form, columns=READS if form == "csv" else ()
    )
    link = open_lines("board", settings, {name: LinePoint(key=name) for name in READS}, {}, clock)
    async with _running(link):
        for turn in range(2 * TURNS):
            board.values = dict(zip(READS, map(str, truth(turn)), strict=True))
            await clock.advance(0.05)
            board.say()
            await settle()
            *ended, heard = heard.split(b"\n")
            legal = [said for line in ended if (said := _said(line)) is not None]
            tally.look(link, f"seed {seed}, turn {turn}", legal, clock.now_ns())
    await link.close()
    board.unplug()
    tally.both_ways(2 * TURNS)


def _said(line: bytes) -> Pair | None:
    """What a line says, of either form, if its checksum is right."""
    line = line.removesuffix(b"\r")
    body, check = line[:-5], line[-4:]
    if line[-9:-4] == b" crc=":
        body = line[:-9]
    if f"{bitwise_checksum(body):04x}".encode() != check.lower():
        return None
    fields = body.decode("ascii", "replace").replace(",", " ").split(" ")
    inner, outer = (float(field.rpartition("=")[2]) for field in fields[1:3])
    return inner, outer


@pytest.mark.parametrize("seed", SEEDS)
async def test_linux_iio(seed: int, tmp_path: Path) -> None:
    """It has no checksum either: digits changed into digits are another number."""
    tally = Tally()
    async with asyncio.timeout(3 * GUARD_S), asyncio.TaskGroup() as tasks:
        for one in range(AT_ONCE):
            tree = FakeSysfs(tmp_path / str(one))
            tasks.create_task(_bruise_sensors(tree, f"{seed}/{one}", tally))
    tally.both_ways(TURNS)


async def _bruise_sensors(tree: FakeSysfs, seed: str, tally: Tally) -> None:
    dice, clock = dice_of(seed), VirtualClock()
    files = dict.fromkeys(("in_temp0_input", "in_temp1_input"), "0")
    folder = tree.plug("iio", 0, "made-up-converter", files)
    points = {
        name: SysfsPoint(device="made-up-converter", attribute=f"in_temp{place}")
        for place, name in enumerate(READS)
    }
    settings = SysfsSettings(sysfs=str(tree.root), timeout_s=1.0)
    link = open_sysfs("sensors", settings, points, {}, clock)
    for turn in range(TURNS // AT_ONCE):
        inner, outer = truth(turn)
        changed = bruised(f"{round(inner * 1000)}\n".encode(), dice)
        _write(folder, changed, f"{round(outer * 1000)}\n".encode())
        clock._now_ns += NS_PER_S  # nobody sleeps by it
        await link.poll_once()
        said = _whole_number(changed)
        legal = [] if said is None else [(said / 1000, outer)]
        tally.look(link, f"seed {seed}, turn {turn}", legal, clock.now_ns())
    await link.close()


def _write(folder: Path, inner: bytes, outer: bytes) -> None:
    (folder / "in_temp0_input").write_bytes(inner)
    (folder / "in_temp1_input").write_bytes(outer)


def _whole_number(text: bytes) -> float | None:
    """A number as people write it, blanks and ends of lines around it."""
    text = text.strip(b" \n")
    digits = text[1:] if text[:1] in (b"+", b"-") else text
    parts = digits.split(b".")
    if len(parts) > 2 or not all(part and set(part) <= set(b"0123456789") for part in parts):
        return None
    return float(text)


@asynccontextmanager
async def _running(link: Link) -> AsyncIterator[None]:
    task = asyncio.create_task(link.run())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
