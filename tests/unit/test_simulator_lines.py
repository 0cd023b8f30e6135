"""Lines of the simulator's board, well and in every trouble, from the wire's other end.

They are read by curehold's own codec, which the simulator may not import. The form
is that of docs/board-lines.md.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random

import pytest
from umodbus.client.serial.redundancy_check import get_crc

from drivers.serial_lines import LinesSettings
from drivers.serial_lines.codec import RefusedLine, read_line
from simulator.plant import Rig
from simulator.sensors import Failure
from simulator.serve.board import KEYS, Form, line, texts
from simulator.serve.checksum import crc16
from simulator.serve.later import PlantLater
from simulator.serve.lines import LinesFront
from simulator.wire import Trouble
from tests.unit.wire_plugs import GUARD_S, Plug, port_plug, served, two_rigs


@pytest.fixture
def rigs() -> list[Rig]:
    return two_rigs()


def test_the_checksum_is_the_standard_s() -> None:
    assert crc16(b"123456789") == 0x4B37  # docs/board-lines.md, and catalogues of CRCs, from memory
    # An example of Modbus over Serial Line V1.02's neighbour, umodbus' docstring.
    assert crc16(b"\x02\x07").to_bytes(2, "little") == b"\x41\x12"
    draws = Random(1)  # noqa: S311 - repeatable, no secret
    for length in range(60):
        data = draws.randbytes(length)
        assert crc16(data).to_bytes(2, "little") == get_crc(data)


@pytest.mark.parametrize(
    ("form", "wanted"),
    [
        (
            Form.KEY_VALUE,
            b"seq=17 pad_inner_c=139.8 bag_inner_kpa=206.9 here_button=0 crc=1E1B\n",
        ),
        (Form.CSV, b"17,139.8,206.9,0,F2AD\n"),
    ],
)
def test_lines_are_those_of_the_page(form: Form, wanted: bytes) -> None:
    values = {"pad_inner_c": "139.8", "bag_inner_kpa": "206.9", "here_button": "0"}
    assert line(form, 17, values) == wanted
    page = Path(__file__).parents[2] / "docs" / "board-lines.md"
    assert wanted.decode() in page.read_text(encoding="utf-8")


def read(text: bytes, form: Form = Form.KEY_VALUE) -> tuple[int, dict[str, str]]:
    columns = KEYS if form is Form.CSV else ()
    found = read_line(text, LinesSettings(device="any", form=str(form), columns=columns))
    return found.number, dict(found.fields)


@pytest.mark.parametrize("form", list(Form))
async def test_a_board_per_rig_tells_all_it_measures(
    form: Form, rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[1].controls.press("here_button", rigs[1].now_s, 5.0)
    rigs[1].instruments["supply_kpa"].failure = Failure.OPEN
    rigs[1].instruments["pad_outer_c"].failure = Failure.SHORT
    kind = "lines" if form is Form.KEY_VALUE else "lines_csv"
    async with served(rigs, f"{kind}:{tmp_path / 'board'}") as fronts:
        devices = fronts.told()["lines_devices"]
        assert devices == [str(tmp_path / "board"), str(tmp_path / "board-2")]
        columns = list(KEYS) if form is Form.CSV else None
        assert fronts.told().get("lines_columns") == columns
        async with port_plug(devices[0]) as first, port_plug(devices[1]) as second:
            numbers, fields = zip(*[read(await first.line(), form) for _ in range(3)], strict=True)
            _, of_second = read(await second.line(), form)
    assert numbers == (0, 1, 2)
    assert set(fields[0]) >= set(KEYS)
    shown = {key: rigs[0].instruments[key].shown for key in KEYS[:6]}
    assert {key: float(fields[0][key]) for key in shown} == pytest.approx(shown, abs=0.05)
    assert [fields[0][key] for key in KEYS[6:]] == list("00000110")
    assert [of_second[key] for key in KEYS[6:]] == list("01000110")
    assert (of_second["supply_kpa"], of_second["pad_outer_c"]) == ("!open", "!short")


@asynccontextmanager
async def board(rigs: list[Rig], folder: Path) -> AsyncIterator[tuple[Plug, Callable[[], None]]]:
    """A board in lockstep: what it says is said when the plant moves."""
    async with (
        served(rigs[:1], f"lines:{folder / 'board'}", plant=True) as fronts,
        port_plug(str(folder / "board")) as plug,
    ):
        assert read(await plug.line())[0] == 0

        def second() -> None:
            begun_s = rigs[0].now_s
            while rigs[0].now_s < begun_s + 1.0:
                rigs[0].advance()
            fronts.moved()

        yield plug, second


@pytest.mark.parametrize("module", ["temperatures", "pressures"])
@pytest.mark.parametrize("trouble", [each for each in Trouble if each is not Trouble.HANGS_UP])
async def test_each_trouble_of_a_line_comes_and_goes(
    module: str, trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[0].wire.late_s = 2.0
    async with board(rigs, tmp_path) as (plug, second):
        rigs[0].wire.troubles[module] = trouble
        second()
        heard = await plug.heard_in(0.02)
        right = line(Form.KEY_VALUE, 1, texts(rigs[0]))
        assert LINES[trouble](heard, right), heard
        rigs[0].wire.troubles.clear()
        second()
        after = (await plug.heard_in(0.02)).splitlines()[-1]
        if trouble in {Trouble.TRUNCATED, Trouble.BABBLES}:  # it ended the spoilt one
            second()
            after = await plug.line()
        assert read(after)[1]["pad_inner_c"] == f"{rigs[0].instruments['pad_inner_c'].shown:.1f}"
        if trouble is Trouble.LATE:
            second()
            assert right in await plug.heard_in(0.02), "two plant seconds after its time"


def refused_line(heard: bytes, right: bytes) -> bool:
    with pytest.raises(RefusedLine, match="checksum"):
        read(heard[:-1])
    return len(heard) == len(right)


def failed_words(heard: bytes, right: bytes) -> bool:
    words = list(read(heard[:-1])[1].values())
    return heard == right and words.count("!failure") == 3


LINES: dict[Trouble, Callable[[bytes, bytes], bool]] = {
    Trouble.NONE: lambda heard, right: heard == right,
    Trouble.FOREIGN: lambda heard, right: heard == right,
    Trouble.SILENT: lambda heard, _: heard == b"",
    Trouble.LATE: lambda heard, _: heard == b"",
    Trouble.GARBLED: refused_line,
    Trouble.TRUNCATED: lambda heard, right: heard == right[: len(right) // 2],
    Trouble.EXCEPTION: failed_words,
    Trouble.DOUBLED: lambda heard, right: heard == right + right,
    Trouble.BABBLES: lambda heard, _: len(heard) > 400 and b"\n" not in heard,
}


async def test_a_board_that_is_unplugged_comes_back(rigs: list[Rig], tmp_path: Path) -> None:
    rigs[0].wire.late_s = 2.0
    async with board(rigs, tmp_path) as (plug, second):
        rigs[0].wire.troubles["pressures"] = Trouble.HANGS_UP
        second()
        async with asyncio.timeout(GUARD_S):
            await plug.ended.wait()
        rigs[0].wire.troubles.clear()
        second()
        assert not (tmp_path / "board").is_symlink()
        second()
        async with port_plug(str(tmp_path / "board")) as again:
            second()
            assert read(await again.line())[0] > 1


async def test_trouble_with_the_relays_is_none_of_the_board_s(
    rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[0].wire.troubles["relays"] = Trouble.SILENT
    async with board(rigs, tmp_path) as (plug, second):
        second()
        assert read(await plug.line())[0] == 1


async def test_numbers_begin_again_after_the_last(rigs: list[Rig]) -> None:
    later = PlantLater(lambda: rigs[0].now_s)
    front = LinesFront(rigs[0], None, later=later)
    front._number = 65534
    async with port_plug(front.open()) as plug:
        for _ in range(3):
            rigs[0].advance()
            later.moved()
        # The first was sent before the port was opened, and waited there.
        assert [read(await plug.line())[0] for _ in range(4)] == [65534, 65535, 0, 1]
    await front.close()
