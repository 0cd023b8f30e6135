"""Which wires are opened and how they end, and what wires do later."""

import asyncio
from contextlib import suppress
from pathlib import Path

import pytest
from umodbus.client import tcp
from umodbus.client.serial import rtu

from simulator.pace import Mover, run_free
from simulator.plant import Rig
from simulator.scenarios import find_scenario
from simulator.serve import ServeError, WallPace, Wanted, open_fronts, read_wanted
from simulator.serve.later import WAITING_MAX, PlantLater, RealLater
from simulator.wire import MODULE_NAMES, Trouble, Wire
from simulator.yard import Yard
from tests.unit.wire_plugs import QUIET_S, port_plug, served, socket_plug, two_rigs


@pytest.fixture
def rigs() -> list[Rig]:
    return two_rigs()


async def test_lines_alone_have_the_relays_module_beside_them_and_no_other(
    rigs: list[Rig],
) -> None:
    async with (
        served(rigs, "lines") as fronts,
        socket_plug(fronts.told()["modbus_port"]) as plug,
    ):
        plug.put(tcp.read_input_registers(1, 0, 3))
        assert await plug.heard_in(QUIET_S) == b""
        plug.put(tcp.read_coils(13, 0, 5))
        assert (await plug.heard(10))[6] == 13
    async with served(rigs, "lines", "rtu") as fronts:
        assert sorted(fronts.told()) == ["lines_devices", "rtu_device"]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("tcp", Wanted("tcp")),
        ("tcp:5020", Wanted("tcp", port=5020)),
        ("rtu", Wanted("rtu")),
        ("rtu:ports/bus", Wanted("rtu", link=Path("ports/bus"))),
        ("lines:board", Wanted("lines", link=Path("board"))),
        ("lines_csv", Wanted("lines_csv")),
    ],
)
def test_a_wire_as_typed(text: str, wanted: Wanted) -> None:
    assert read_wanted(text) == wanted


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "none of tcp, rtu, lines, lines_csv"),
        ("udp", "none of tcp"),
        ("tcp:high", "the port is a number up to 65535"),
        ("tcp:65536", "the port is a number up to 65535"),
        ("tcp:-1", "the port is a number"),
    ],
)
def test_a_wrong_wire_says_what_is_right(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read_wanted(text)


async def test_each_kind_is_wanted_once(rigs: list[Rig]) -> None:
    with pytest.raises(ServeError, match="ask for each kind once"):
        await open_fronts(rigs, [Wanted("lines"), Wanted("lines_csv")])


def names(folder: Path) -> list[str]:
    return [one.name for one in folder.iterdir()]


async def test_a_link_that_cannot_be_made_closes_what_was_open(
    rigs: list[Rig], tmp_path: Path
) -> None:
    taken = tmp_path / "board-2"
    taken.write_text("mine")
    with pytest.raises(ServeError, match=rf"no link .* at {taken} \(File exists\); choose"):
        await open_fronts(rigs, [Wanted("rtu"), Wanted("lines", link=tmp_path / "board")])
    assert taken.read_text() == "mine"
    assert names(tmp_path) == ["board-2"]


async def test_a_link_left_behind_is_replaced_and_another_s_is_not(
    rigs: list[Rig], tmp_path: Path
) -> None:
    link = tmp_path / "bus"
    link.symlink_to("/dev/pts/99999")
    async with served(rigs, f"rtu:{link}"), port_plug(str(link)) as plug:
        plug.put(rtu.read_coils(3, 0, 5))
        assert len(await plug.heard(6)) == 6
        link.unlink()
        link.symlink_to("elsewhere")
    assert link.readlink() == Path("elsewhere")
    with pytest.raises(ServeError, match="File exists"):
        await open_fronts(rigs, [Wanted("rtu", link=link)])


def test_the_plant_s_time_does_what_is_due_once_and_in_order() -> None:
    now_s, done = 0.0, []
    later = PlantLater(lambda: now_s)

    def again(name: str) -> None:
        done.append((now_s, name))
        later.after(0.25, lambda: again(name))

    later.after(2.0, lambda: again("second"))
    later.after(1.0, lambda: again("first"))
    while now_s <= 3.0:
        later.moved()
        now_s += 1.0
    assert done == [
        (1.0, "first"),
        (2.0, "first"),
        (2.0, "second"),
        (3.0, "first"),
        (3.0, "second"),
    ]
    later.close()
    later.moved()
    assert len(done) == 5


async def test_what_waits_is_limited_and_forgotten_on_closing() -> None:
    for later in (RealLater(), PlantLater(lambda: 0.0)):
        done: list[int] = []
        for _ in range(WAITING_MAX + 1):
            later.after(0.0, lambda done=done: done.append(1))
        with suppress(TimeoutError):
            async with asyncio.timeout(0.02):
                await asyncio.Event().wait()
        later.moved()
        assert len(done) == WAITING_MAX
        later.after(0.0, lambda done=done: done.append(2))
        later.close()
        with suppress(TimeoutError):
            async with asyncio.timeout(0.02):
                await asyncio.Event().wait()
        later.moved()
        assert 2 not in done


def test_every_module_has_a_name() -> None:
    assert MODULE_NAMES == ("temperatures", "pressures", "relays")
    assert Wire().of("relays") is Trouble.NONE


@pytest.mark.parametrize("speed", [1.0, 200.0])
async def test_at_any_speed_a_board_tells_four_times_a_second_what_is_now(speed: float) -> None:
    yard = Yard(find_scenario("whole_cure"), rigs=1, seed=1)
    fronts = await open_fronts(yard.rigs, [Wanted("lines")])
    devices = fronts.told()["lines_devices"]
    assert isinstance(devices, list)
    running = asyncio.create_task(run_free(Mover(yard, WallPace(speed), fronts.moved), speed))
    loop = asyncio.get_running_loop()
    async with port_plug(devices[0]) as plug:
        begun_s, numbers, plant_s = loop.time(), [], []
        for _ in range(4):
            number = (await plug.line()).split()[0]
            numbers.append(number)
            plant_s.append(yard.now_s)
        took_s = loop.time() - begun_s
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
    await fronts.close()
    assert numbers == [b"seq=0", b"seq=1", b"seq=2", b"seq=3"]
    assert 0.7 < took_s < 5.0
    assert plant_s[-1] - plant_s[0] == pytest.approx(speed * took_s, rel=0.5, abs=2.0)
