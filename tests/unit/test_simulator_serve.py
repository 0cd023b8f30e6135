"""The register map over real sockets, read back by pymodbus and by umodbus."""

import asyncio
import math
import socket
import struct

import pytest
from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusIOException
from umodbus.client import tcp

from simulator.plant import STEP_S, Rig, RigSettings
from simulator.sensors import Failure
from simulator.serve import HOST, ModbusFront, ServeError
from simulator.wire import Trouble

GUARD_S = 10


@pytest.fixture
def rigs():
    built = [Rig(RigSettings(ambient_c=ambient_c), 1) for ambient_c in (20.0, -5.0)]
    for rig in built:
        rig.bags["inner"].fill_to(206.84)
        for _ in range(40):
            rig.advance()
    return built


@pytest.fixture
async def wire(rigs):
    front = ModbusFront(rigs)
    port = await front.open(0)
    client = AsyncModbusTcpClient(HOST, port=port, timeout=0.3, retries=0)
    assert await client.connect()
    yield client
    client.close()
    await front.close()
    await front.close()


async def floats(client, unit):
    answer = await client.read_input_registers(0, count=6, device_id=unit)
    return struct.unpack(">fff", struct.pack(">6H", *answer.registers))


async def test_temperatures_of_each_rig(wire, rigs):
    for number, rig in enumerate(rigs):
        answer = await wire.read_input_registers(0, count=3, device_id=10 * number + 1)
        signed = wire.convert_from_registers(answer.registers, wire.DATATYPE.INT16)
        shown = [
            rig.instruments[name].shown for name in ("pad_inner_c", "pad_outer_c", "ambient_c")
        ]
        assert [counts / 10 for counts in signed] == pytest.approx(shown, abs=1e-6)
    assert signed[2] < -40


async def test_pressures_are_float32_in_the_stated_order(wire, rigs):
    answer = await wire.read_input_registers(0, count=2, device_id=2)
    inner_kpa = wire.convert_from_registers(answer.registers, wire.DATATYPE.FLOAT32)
    assert inner_kpa == pytest.approx(rigs[0].instruments["bag_inner_kpa"].shown, rel=1e-6)
    assert inner_kpa == pytest.approx(206.84, abs=2.0)
    assert await floats(wire, 12) == pytest.approx(
        [rigs[1].instruments[f"{name}_kpa"].shown for name in ("bag_inner", "bag_outer", "supply")],
        rel=1e-6,
    )


async def test_values_are_live(wire, rigs):
    rigs[0].bags["inner"].hole_dm3_s_bar = 5.0
    for _ in range(400):
        rigs[0].advance()
    inner_kpa, _, _ = await floats(wire, 2)
    assert inner_kpa < 5.0


@pytest.mark.parametrize(
    ("failure", "counts"),
    [
        (Failure.OPEN, 32767),
        (Failure.SHORT, 0x8000),
    ],
)
async def test_failed_instruments(wire, rigs, failure, counts):
    rigs[0].instruments["pad_outer_c"].failure = failure
    rigs[0].instruments["bag_outer_kpa"].failure = failure
    answer = await wire.read_input_registers(0, count=3, device_id=1)
    assert answer.registers[1] == counts
    inner_kpa, outer_kpa, _ = await floats(wire, 2)
    assert math.isnan(outer_kpa)
    assert not math.isnan(inner_kpa)


@pytest.mark.parametrize(
    ("shown", "counts", "kpa"),
    [
        (math.nan, 32766, math.nan),
        (math.inf, 32766, math.inf),
        (-1e9, 0x8001, -1e9),
        (-270.0, -2700 & 0xFFFF, -270.0),
    ],
)
async def test_a_converter_gone_mad_shows_nonsense_and_no_wire_fault(
    wire, rigs, shown, counts, kpa
):
    rigs[0].instruments["pad_outer_c"].shown = shown
    rigs[0].instruments["bag_outer_kpa"].shown = shown
    answer = await wire.read_input_registers(0, count=3, device_id=1)
    assert answer.registers[1] == counts
    _, outer_kpa, _ = await floats(wire, 2)
    assert outer_kpa == pytest.approx(kpa, rel=1e-6, nan_ok=True)


async def test_every_switch_has_its_place(wire, rigs):
    controls = rigs[0].controls
    names = ("start_button", "here_button", "reset_button")
    quiet = [False, False, False, False, False, True, True, False]
    assert (await wire.read_discrete_inputs(0, count=8, device_id=3)).bits[:8] == quiet
    for place, name in enumerate(names):
        controls.press(name, rigs[0].now_s, 2.0)
        bits = (await wire.read_discrete_inputs(0, count=8, device_id=3)).bits[:8]
        assert bits == [at == place or quiet[at] for at in range(8)]
        controls.press(name, rigs[0].now_s, 0.0)
    controls.pins_in = controls.release_request = True
    rigs[0].electrics.estop_ok = False
    rigs[0].electrics.mains_share = 0.0
    rigs[0].pads["inner"].current_a = 6.9
    bits = (await wire.read_discrete_inputs(0, count=8, device_id=3)).bits[:8]
    assert bits == [False, False, False, True, True, False, False, True]


async def test_coils_are_written_one_by_one_and_read_back(wire, rigs):
    names = ("heat_permit", "horn", "beacon_red", "beacon_amber", "release_permit")
    for address, name in enumerate(names):
        answer = await wire.write_coil(address, True, device_id=3)
        assert not answer.isError()
        assert rigs[0].relays.coils[name]
        read = await wire.read_coils(0, count=5, device_id=3)
        assert read.bits[:5] == [at <= address for at in range(5)]
    await wire.write_coil(2, False, device_id=3)
    assert rigs[0].relays.coils["beacon_red"] is False
    assert not any(rigs[1].relays.coils.values())
    await wire.write_coils(1, [False, True, False], device_id=3)
    assert list(rigs[0].relays.coils.values()) == [True, False, True, False, True]


async def test_read_back_shows_what_the_time_out_did(wire, rigs):
    assert (await wire.read_holding_registers(0, count=1, device_id=3)).registers == [5]
    await wire.write_register(0, 8, device_id=3)
    assert (await wire.read_holding_registers(0, count=1, device_id=3)).registers == [8]
    await wire.write_coil(0, True, device_id=3)
    for seconds, stays in ((7.0, True), (9.0, False)):
        for _ in range(round(seconds / STEP_S)):
            rigs[0].advance()
        read = await wire.read_coils(0, count=1, device_id=3)
        assert read.bits[0] is stays


async def test_what_does_not_exist_is_refused_and_changes_nothing(wire, rigs):
    assert (await wire.write_coil(5, True, device_id=3)).isError()
    assert (await wire.read_input_registers(7, count=1, device_id=1)).isError()
    assert (await wire.read_coils(0, count=1, device_id=1)).isError()
    assert (await wire.write_register(0, 1, device_id=2)).isError()
    assert (await wire.read_input_registers(0, count=1, device_id=3)).isError()
    assert not any(rigs[0].relays.coils.values())


@pytest.mark.parametrize("unit", [4, 9, 21])
async def test_a_unit_that_does_not_exist_is_silent(wire, unit):
    with pytest.raises(ModbusIOException):
        await wire.read_input_registers(0, count=1, device_id=unit)


@pytest.mark.parametrize("module", ["temperatures", "pressures", "relays"])
async def test_a_silent_module_is_silent_alone(wire, rigs, module):
    units = {"temperatures": 1, "pressures": 2, "relays": 3}
    rigs[0].wire.troubles[module] = Trouble.SILENT
    for name, unit in units.items():
        read = wire.read_discrete_inputs if name == "relays" else wire.read_input_registers
        if name == module:
            with pytest.raises(ModbusIOException):
                await read(0, count=3, device_id=unit)
        else:
            assert not (await read(0, count=3, device_id=unit)).isError()
        assert not (await read(0, count=3, device_id=unit + 10)).isError()
    rigs[0].wire.troubles[module] = Trouble.NONE
    read = wire.read_discrete_inputs if module == "relays" else wire.read_input_registers
    assert not (await read(0, count=3, device_id=units[module])).isError()


async def test_an_independent_client_reads_the_same(wire, rigs):
    # umodbus: another implementation of the Modbus Application Protocol V1.1b3
    port = wire.comm_params.port

    def read():
        with socket.create_connection((HOST, port), timeout=GUARD_S) as plug:
            words = tcp.send_message(tcp.read_input_registers(12, 0, 6), plug)
            tcp.send_message(tcp.write_single_coil(13, 3, 1), plug)
            coils = tcp.send_message(tcp.read_coils(13, 0, 5), plug)
            return words, coils

    words, coils = await asyncio.to_thread(read)
    assert struct.unpack(">f", struct.pack(">2H", *[w & 0xFFFF for w in words[:2]]))[0] == (
        pytest.approx(rigs[1].instruments["bag_inner_kpa"].shown, rel=1e-6)
    )
    assert coils == [0, 0, 0, 1, 0]
    assert rigs[1].relays.coils["beacon_amber"]


async def test_a_taken_port_is_a_clear_error(wire, rigs):
    with pytest.raises(ServeError, match=r"port \d+ on 127.0.0.1 cannot be opened"):
        await ModbusFront(rigs).open(wire.comm_params.port)
