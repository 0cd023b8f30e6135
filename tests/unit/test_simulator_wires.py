"""Modbus modules of the simulator, well and in every trouble, from the wire's other end.

Questions and checks of answers are umodbus' (PyPI), which shares no code with
pymodbus. What troubles are is in simulator/wire.py.
"""

import asyncio
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from pathlib import Path

import pytest
from umodbus.client import tcp
from umodbus.client.serial import rtu
from umodbus.client.serial.redundancy_check import CRCError
from umodbus.exceptions import ServerDeviceFailureError

from simulator.plant import Rig
from simulator.serve import Fronts
from simulator.serve.answers import NOISE
from simulator.wire import Trouble
from tests.unit.peer_masters import MASTERS, Refusal, on
from tests.unit.wire_plugs import (
    GUARD_S,
    QUIET_S,
    REST_S,
    Plug,
    port_plug,
    served,
    socket_plug,
    two_rigs,
)

QUESTIONS = {"tcp": tcp, "rtu": rtu}
UNIT_AT = {"tcp": 6, "rtu": 0}
TEMPERATURES, PRESSURES, RELAYS = 1, 2, 3


@pytest.fixture
def rigs() -> list[Rig]:
    return two_rigs()


@asynccontextmanager
async def plugged(
    rigs: list[Rig], wire: str, folder: Path, *, plant: bool = False
) -> AsyncIterator[tuple[Plug, Fronts]]:
    async with AsyncExitStack() as ends:
        where = "tcp" if wire == "tcp" else f"rtu:{folder / 'bus'}"
        fronts = await ends.enter_async_context(served(rigs, where, plant=plant))
        told = fronts.told()
        plug = socket_plug(told["modbus_port"]) if wire == "tcp" else port_plug(told["rtu_device"])
        yield await ends.enter_async_context(plug), fronts


def question(wire: str, unit: int = TEMPERATURES) -> bytes:
    return QUESTIONS[wire].read_input_registers(unit, 0, 3)


async def answer(plug: Plug, wire: str, unit: int = TEMPERATURES) -> tuple[bytes, bytes]:
    """A good question and the whole right answer to it, checked by umodbus."""
    asked = question(wire, unit)
    plug.put(asked)
    right = await plug.heard(15 if wire == "tcp" else 11)
    assert len(QUESTIONS[wire].parse_response_adu(right, asked)) == 3
    return asked, right


JAMS = {"tcp": set(), "rtu": {Trouble.BABBLES}}
WIRES = pytest.mark.parametrize("wire", ["tcp", "rtu"])


@WIRES
@pytest.mark.parametrize("trouble", [each for each in Trouble if each is not Trouble.HANGS_UP])
async def test_each_trouble_of_an_answer_comes_and_goes_and_is_one_module_s_alone(
    wire: str, trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    async with plugged(rigs, wire, tmp_path) as (plug, _):
        asked, right = await answer(plug, wire)
        rigs[0].wire.troubles["temperatures"] = trouble
        plug.put(asked)
        heard = await plug.burst(silent=trouble in {Trouble.SILENT, Trouble.LATE})
        await HEARD[trouble](plug, wire, heard, right)
        del rigs[0].wire.troubles["temperatures"]
        if trouble is Trouble.BABBLES:
            await plug.heard_in(QUIET_S)  # what was on its way
        plug.put(asked)
        assert await plug.heard(len(right)) == right
        assert await plug.heard_in(REST_S) == b""
        if trouble is not Trouble.BABBLES:  # it has the whole wire
            rigs[0].wire.troubles["temperatures"] = trouble
            for other in (PRESSURES, 10 + TEMPERATURES):
                await answer(plug, wire, other)


async def well(_plug: Plug, _wire: str, heard: bytes, right: bytes) -> None:
    assert heard == right


async def silent(_plug: Plug, _wire: str, heard: bytes, _right: bytes) -> None:
    assert heard == b""


async def late(plug: Plug, _wire: str, heard: bytes, right: bytes) -> None:
    assert heard == b""
    assert await plug.heard(len(right)) == right


async def garbled(_plug: Plug, wire: str, heard: bytes, right: bytes) -> None:
    assert len(heard) == len(right)
    if wire == "rtu":
        with pytest.raises(CRCError):
            rtu.parse_response_adu(heard, question(wire))
    else:
        # MBAP header, protocol identifier: 0 is Modbus; Messaging on TCP/IP V1.0b, 3.1.3.
        assert heard[2:4] != b"\0\0" == right[2:4]


async def truncated(_plug: Plug, _wire: str, heard: bytes, right: bytes) -> None:
    assert 0 < len(heard) < len(right)
    assert right.startswith(heard)


async def foreign(_plug: Plug, wire: str, heard: bytes, right: bytes) -> None:
    place = UNIT_AT[wire]
    ours = {10 * rig + module for rig in range(2) for module in (1, 2, 3)}
    assert heard[place] not in ours
    QUESTIONS[wire].parse_response_adu(heard, question(wire))  # the frame itself is whole
    body = slice(place + 1, None if wire == "tcp" else -2)
    assert heard[body] == right[body]
    assert heard[:place] == right[:place]


async def refused(_plug: Plug, wire: str, heard: bytes, _right: bytes) -> None:
    # Exception 4, server device failure: Modbus Application Protocol V1.1b3, section 7.
    with pytest.raises(ServerDeviceFailureError):
        QUESTIONS[wire].parse_response_adu(heard, question(wire))


async def doubled(_plug: Plug, _wire: str, heard: bytes, right: bytes) -> None:
    assert heard == right + right


async def babbles(plug: Plug, wire: str, heard: bytes, right: bytes) -> None:
    assert not heard.startswith(right)
    assert (right in heard) is (wire == "tcp")
    assert await plug.heard(100), "it goes on unasked"
    if wire == "rtu":  # its neighbours on the bus are not heard either
        plug.put(question(wire, 10 + PRESSURES))
        assert bytes((10 + PRESSURES, 4, 6)) not in await plug.heard_in(QUIET_S)


HEARD: dict[Trouble, Callable[[Plug, str, bytes, bytes], Awaitable[None]]] = {
    Trouble.NONE: well,
    Trouble.SILENT: silent,
    Trouble.LATE: late,
    Trouble.GARBLED: garbled,
    Trouble.TRUNCATED: truncated,
    Trouble.FOREIGN: foreign,
    Trouble.EXCEPTION: refused,
    Trouble.DOUBLED: doubled,
    Trouble.BABBLES: babbles,
}


@pytest.mark.parametrize("trouble", [Trouble.HANGS_UP, Trouble.NONE])
async def test_a_socket_is_hung_up_at_the_question(
    trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[0].wire.troubles["pressures"] = trouble
    async with plugged(rigs, "tcp", tmp_path) as (plug, fronts):
        await answer(plug, "tcp", TEMPERATURES)
        assert not plug.ended.is_set()
        plug.put(question("tcp", PRESSURES))
        if trouble is Trouble.NONE:
            assert await plug.heard(15)
            assert not plug.ended.is_set()
            return
        async with asyncio.timeout(GUARD_S):
            await plug.ended.wait()
        async with socket_plug(fronts.told()["modbus_port"]) as again:
            await answer(again, "tcp", TEMPERATURES)


@pytest.mark.parametrize("trouble", [Trouble.HANGS_UP, Trouble.NONE])
async def test_a_bus_adapter_that_goes_away_comes_back_under_its_name(
    trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[0].wire.troubles["pressures"] = trouble
    async with plugged(rigs, "rtu", tmp_path) as (plug, fronts):
        link = tmp_path / "bus"
        assert fronts.told() == {"rtu_device": str(link)}
        await answer(plug, "rtu", TEMPERATURES)
        plug.put(question("rtu", PRESSURES))
        if trouble is Trouble.NONE:
            assert await plug.heard(11)
            assert not plug.ended.is_set()
            return
        async with asyncio.timeout(GUARD_S):
            await plug.ended.wait()
        assert not link.is_symlink()
        rigs[0].wire.troubles.clear()
        await there(link)
        async with port_plug(link) as again:
            await answer(again, "rtu", PRESSURES)


async def there(link: Path) -> None:
    async with asyncio.timeout(GUARD_S):
        while not await asyncio.to_thread(link.is_symlink):
            with suppress(TimeoutError):
                async with asyncio.timeout(REST_S):
                    await asyncio.Event().wait()


async def test_without_a_link_an_adapter_that_would_go_away_is_silent(rigs: list[Rig]) -> None:
    rigs[0].wire.troubles["pressures"] = Trouble.HANGS_UP
    async with served(rigs, "rtu") as fronts, port_plug(fronts.told()["rtu_device"]) as plug:
        plug.put(question("rtu", PRESSURES))
        assert await plug.heard_in(QUIET_S) == b""
        await answer(plug, "rtu", TEMPERATURES)


@WIRES
@pytest.mark.parametrize("trouble", list(Trouble))
async def test_what_is_told_to_do_and_heard_of_the_time_out(
    wire: str, trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    """A module that is silent, refuses or hangs up does nothing; else only its answer suffers."""
    rigs[0].wire.troubles["relays"] = trouble
    rigs[0].relays.silent_s = 2.0
    async with plugged(rigs, wire, tmp_path) as (plug, _):
        plug.put(QUESTIONS[wire].write_single_coil(RELAYS, 1, 1))
        speaks = trouble not in {Trouble.SILENT, Trouble.LATE, Trouble.HANGS_UP}
        await plug.burst(silent=not speaks)
        deaf = trouble in {Trouble.SILENT, Trouble.EXCEPTION, Trouble.HANGS_UP} | JAMS[wire]
        assert rigs[0].relays.coils["horn"] is not deaf
        assert rigs[0].relays.silent_s == (2.0 if deaf else 0.0)


@WIRES
@pytest.mark.parametrize("powered", [True, False])
@pytest.mark.parametrize("trouble", [Trouble.NONE, Trouble.EXCEPTION, Trouble.BABBLES])
async def test_a_relay_module_without_its_supply_is_silent(
    wire: str, powered: bool, trouble: Trouble, rigs: list[Rig], tmp_path: Path
) -> None:
    rigs[0].relays.powered = powered
    rigs[0].wire.troubles["relays"] = trouble
    async with plugged(rigs, wire, tmp_path) as (plug, _):
        plug.put(QUESTIONS[wire].read_coils(RELAYS, 0, 5))
        assert bool(await plug.burst(silent=not powered)) is powered


@WIRES
async def test_in_lockstep_a_late_answer_waits_for_the_plant(
    wire: str, rigs: list[Rig], tmp_path: Path
) -> None:
    """In real time it would come after any number of plant seconds."""
    rigs[0].wire.late_s = 2.0
    rigs[0].wire.troubles["temperatures"] = Trouble.LATE
    async with plugged(rigs, wire, tmp_path, plant=True) as (plug, fronts):
        begun_s = rigs[0].now_s
        plug.put(question(wire))
        assert await plug.heard_in(QUIET_S) == b""
        while rigs[0].now_s < begun_s + 2.0:
            fronts.moved()
            assert await plug.heard_in(0.0) == b""
            rigs[0].advance()
        fronts.moved()
        assert await plug.heard(11)


@WIRES
async def test_in_lockstep_each_question_hears_the_babble(
    wire: str, rigs: list[Rig], tmp_path: Path
) -> None:
    """The plant stands while its client asks, and with it what goes by the plant's time."""
    rigs[0].wire.troubles["temperatures"] = Trouble.BABBLES
    async with plugged(rigs, wire, tmp_path, plant=True) as (plug, fronts):
        for _ in range(3):
            plug.put(question(wire))
            assert (await plug.burst(silent=False)).startswith(NOISE)
        rigs[0].advance()
        fronts.moved()
        assert await plug.burst(silent=False) == NOISE
        rigs[0].wire.troubles.clear()
        rigs[0].advance()
        fronts.moved()
        await answer(plug, wire)


async def test_half_a_question_does_not_spoil_the_next(rigs: list[Rig], tmp_path: Path) -> None:
    async with plugged(rigs, "rtu", tmp_path) as (plug, _):
        for rest in (b"\x01\x04\x00", b"\xff\x00\x13", question("rtu")[:-1]):
            plug.put(rest)
            assert await plug.heard_in(QUIET_S) == b""
            await answer(plug, "rtu")


async def test_a_question_in_two_parts_is_answered(rigs: list[Rig], tmp_path: Path) -> None:
    async with plugged(rigs, "rtu", tmp_path) as (plug, _):
        _, right = await answer(plug, "rtu")
        for at in range(1, 8):
            plug.put(question("rtu")[:at])
            await plug.heard_in(0.001)
            plug.put(question("rtu")[at:])
            assert await plug.heard(len(right)) == right


@on("rtu")
async def test_others_masters_on_the_bus(
    wire: str, name: str, rigs: list[Rig], tmp_path: Path
) -> None:
    """The same modules as over TCP, asked by masters that others wrote."""
    async with served(rigs, f"rtu:{tmp_path / 'bus'}") as fronts:

        def ask() -> dict[str, list[int]]:
            with MASTERS[wire][name](str(fronts.told()["rtu_device"])) as master:
                found = {
                    "temperatures": master.read(11, "input", 0, 3),
                    "pressures": master.read(12, "input", 0, 6),
                    "switches": master.read(13, "discrete", 0, 8),
                }
                master.write(13, "coil", 3, 1)
                master.write(13, "holding", 0, 8)
                found["held"] = master.read(13, "coil", 0, 5) + master.read(13, "holding", 0, 1)
                with pytest.raises(Refusal, match="2"):
                    master.write(13, "coil", 5, 1)
                return found

        found = await asyncio.to_thread(ask)
    shown = {key: instrument.shown for key, instrument in rigs[1].instruments.items()}
    tenths = [round(10 * shown[key]) for key in ("pad_inner_c", "pad_outer_c", "ambient_c")]
    assert found["temperatures"] == [count & 0xFFFF for count in tenths]
    assert tenths[2] < -40
    floats = struct.unpack(">3f", struct.pack(">6H", *found["pressures"]))
    keys = ("bag_inner_kpa", "bag_outer_kpa", "supply_kpa")
    assert floats == pytest.approx([shown[key] for key in keys], rel=1e-6)
    assert found["switches"] == [0, 0, 0, 0, 0, 1, 1, 0]
    assert found["held"] == [0, 0, 0, 1, 0, 8]
    assert [rig.relays.coils["beacon_amber"] for rig in rigs] == [False, True]
