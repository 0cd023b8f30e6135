"""Our own servers, asked by masters that others wrote: what our tests stand on is Modbus."""

import asyncio
import math
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from drivers.modbus import PointSettings, open_link
from drivers.modbus.fake import FakeServer
from drivers.modbus.fake_rtu import FakeBus
from drivers.modbus.fake_units import Asked, FakeUnits
from simulator.plant import Rig, RigSettings
from simulator.sensors import Failure
from simulator.serve import ModbusFront
from tests.unit.peer_masters import MASTERS, MakeMaster, Master, Refusal, on, write_float
from tests.unit.peers import FLOATS_AT, HELD, HOLDING_FLOAT, INPUT_FLOAT, UNIT, modbus_tk_rtu
from tests.virtual_clock import VirtualClock

VALUES = {
    (unit, table, number): value
    for (unit, table), (start, values) in HELD.items()
    for number, value in enumerate(values, start)
}
ABSENT = 500
# The simulator's discrete inputs in their order.
SWITCHES = (
    "start_button",
    "here_button",
    "reset_button",
    "pins_in",
    "heat_on",
    "mains_ok",
    "estop_ok",
    "release_request",
)
# What each decodes itself; umodbus gives registers only.
DECODES = {
    "minimalmodbus": {"int16", *FLOATS_AT},
    "umodbus": set(),
    "modbus-tk": {"int16", "ABCD", "DCBA"},
    "mbpoll": {"int16", "ABCD", "CDAB"},
}


@asynccontextmanager
async def served(wire: str, folder: Path) -> AsyncIterator[tuple[FakeUnits, str]]:
    """Our server of one wire, and where it is reached."""
    server = FakeBus(VALUES, folder / "usb-bus") if wire == "rtu" else FakeServer(VALUES)
    await server.start()
    try:
        yield server, server.device if isinstance(server, FakeBus) else str(server.port)
    finally:
        await server.stop()


def everything(make: MakeMaster, where: str, kinds: set[str]) -> dict[str, object]:
    """All that one master can read of the map."""
    found: dict[str, object] = {}
    with make(where) as master:
        for (unit, table), (start, values) in HELD.items():
            found[table] = tuple(master.read(unit, table, start, len(values)))
        for table in ("input", "holding"):
            for kind in kinds:
                found[f"{table} {kind}"] = master.number(UNIT, table, FLOATS_AT.get(kind, 0), kind)
    return found


def wanted(name: str) -> dict[str, object]:
    numbers = {"input int16": -100, "holding int16": -32768}
    numbers |= {f"input {order}": INPUT_FLOAT for order in FLOATS_AT}
    # mbpoll prints six digits; the others give all of them.
    real = pytest.approx(HOLDING_FLOAT, rel=5e-6 if name == "mbpoll" else 1e-12)
    numbers |= {f"holding {order}": real for order in FLOATS_AT}
    tables = {table: values for (_, table), (_, values) in HELD.items()}
    return tables | {key: one for key, one in numbers.items() if key.split()[1] in DECODES[name]}


@on("rtu", "tcp")
async def test_every_kind_of_value(wire: str, name: str, tmp_path: Path) -> None:
    async with served(wire, tmp_path) as (_, where):
        found = await asyncio.to_thread(everything, MASTERS[wire][name], where, DECODES[name])
    assert found == wanted(name)


@on("rtu", "tcp")
async def test_a_coil_and_a_register_are_written_and_read_back(
    wire: str, name: str, tmp_path: Path
) -> None:
    async with served(wire, tmp_path) as (server, where):

        def switches() -> list[list[int]]:
            found = []
            with MASTERS[wire][name](where) as master:
                for value in (1, 0):
                    master.write(UNIT, "coil", 1, value)
                    found.append(master.read(UNIT, "coil", 0, 3))
                master.write(UNIT, "holding", 12, 30)
                found.append(master.read(UNIT, "holding", 12, 1))
            return found

        assert await asyncio.to_thread(switches) == [[1, 1, 1], [1, 0, 1], [30]]
        written = [asked for asked in server.asked if asked.function in (5, 6)]
        assert written == [
            Asked(UNIT, 5, 1, 0xFF00),
            Asked(UNIT, 5, 1, 0x0000),
            Asked(UNIT, 6, 12, 30),
        ]
        assert server.values == VALUES | {(UNIT, "holding", 12): 30}


def refusal(master: Master, unit: int, table: str, number: int, value: int | None) -> int:
    """The exception's number; `value` None asks, else it is written."""
    try:
        found = master.read(unit, table, number, 1) if value is None else None
        if value is not None:
            master.write(unit, table, number, value)
    except Refusal as told:
        return int(told.args[0])
    pytest.fail(f"unit {unit}, {table} {number}: not refused, {found}")


@on("rtu", "tcp")
async def test_what_is_not_there_is_refused_with_exception_2(
    wire: str, name: str, tmp_path: Path
) -> None:
    async with served(wire, tmp_path) as (server, where):

        def ask() -> list[int]:
            with MASTERS[wire][name](where) as master:
                return [
                    refusal(master, UNIT, "input", ABSENT, None),
                    refusal(master, UNIT, "coil", ABSENT, 1),
                    refusal(master, UNIT, "holding", ABSENT, 30),
                ]

        assert await asyncio.to_thread(ask) == [2, 2, 2]
        assert server.values == VALUES


async def test_floats_that_minimalmodbus_wrote_in_its_four_orders_read_right() -> None:
    """Another's idea of each order, held by another's module, read by our link."""
    async with modbus_tk_rtu({(UNIT, "holding"): (0, (0,) * 8)}) as peer:
        assert peer.cable is not None
        for number, order in enumerate(FLOATS_AT):
            await asyncio.to_thread(
                write_float, peer.cable.ends[0], 2 * number, HOLDING_FLOAT, order
            )
        points = {
            order: PointSettings(
                unit=UNIT, table="holding", register=2 * number, type="float32", order=order
            )
            for number, order in enumerate(FLOATS_AT)
        }
        link = open_link("peer", peer.settings(), points, {}, VirtualClock())
        await link.poll_once()
        found = {name: sample.value for name, sample in link.snapshot().items()}
        await link.close()
    assert found == dict.fromkeys(FLOATS_AT, HOLDING_FLOAT)


@on("tcp")
async def test_the_simulator_s_modules(wire: str, name: str) -> None:
    """Its map is in simulator/registers.py; the rigs and their air are invented."""
    rigs = [Rig(RigSettings(ambient_c=ambient_c), 1) for ambient_c in (20.0, -5.0)]
    for rig in rigs:
        rig.bags["inner"].fill_to(206.84)
        for _ in range(40):
            rig.advance()
    rigs[1].instruments["supply_kpa"].failure = Failure.OPEN
    front = ModbusFront(rigs)
    port = str(await front.open(0))

    def ask() -> dict[str, object]:
        with MASTERS[wire][name](port) as master:
            found: dict[str, object] = {
                "temperatures": master.read(11, "input", 0, 3),
                "pressures": master.read(12, "input", 0, 6),
                "switches": master.read(13, "discrete", 0, 8),
            }
            if "int16" in DECODES[name]:
                found["ambient_c"] = master.number(11, "input", 2, "int16")
                found["inner_kpa"] = master.number(12, "input", 0, "ABCD")
            master.write(13, "coil", 3, 1)
            found["coils"] = master.read(13, "coil", 0, 5)
            master.write(13, "holding", 0, 8)
            found["time-out"] = master.read(13, "holding", 0, 1)
            found["refused"] = [
                refusal(master, 13, "coil", 5, 1),
                refusal(master, 11, "input", 7, None),
                refusal(master, 11, "coil", 0, None),
                refusal(master, 13, "input", 0, None),
            ]
        return found

    try:
        found = await asyncio.to_thread(ask)
    finally:
        await front.close()
    shown = {key: instrument.shown for key, instrument in rigs[1].instruments.items()}
    tenths = [round(10 * shown[key]) for key in ("pad_inner_c", "pad_outer_c", "ambient_c")]
    assert found["temperatures"] == [count & 0xFFFF for count in tenths]
    inner_kpa, outer_kpa, supply_kpa = struct.unpack(">3f", struct.pack(">6H", *found["pressures"]))
    assert inner_kpa == pytest.approx(shown["bag_inner_kpa"], rel=1e-6)
    assert outer_kpa == pytest.approx(shown["bag_outer_kpa"], rel=1e-6)
    assert math.isnan(supply_kpa)
    assert found["switches"] == [int(rigs[1].switches()[key]) for key in SWITCHES]
    if "int16" in DECODES[name]:
        assert found["ambient_c"] == tenths[2] < -40
        assert found["inner_kpa"] == pytest.approx(inner_kpa, rel=5e-6)
    assert found["coils"] == [0, 0, 0, 1, 0]
    assert [rig.relays.coils["beacon_amber"] for rig in rigs] == [False, True]
    assert found["time-out"] == [8]
    assert [rig.relays.timeout_s for rig in rigs] == [5.0, 8.0]
    assert found["refused"] == [2, 2, 1, 1]
