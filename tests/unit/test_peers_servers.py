"""The link against servers that others wrote, over TCP and on a serial bus."""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager

import pytest

from drivers.base import BadReply, Link
from drivers.modbus import OutputSettings, PointSettings, open_link
from drivers.modbus.device import ModbusLink
from tests.unit.peers import (
    FLOATS_AT,
    HELD,
    HOLDING_FLOAT,
    INPUT_FLOAT,
    UNIT,
    WATCHDOG_AT,
    Memory,
    Peer,
    Serve,
    modbus_tk_rtu,
    modbus_tk_tcp,
    pymodbus_tcp,
    umodbus_rtu,
    umodbus_tcp,
)
from tests.virtual_clock import VirtualClock, settle

SERVERS: Mapping[str, Serve] = {
    "umodbus tcp": umodbus_tcp,
    "umodbus rtu": umodbus_rtu,
    "modbus-tk tcp": modbus_tk_tcp,
    "modbus-tk rtu": modbus_tk_rtu,
    "pymodbus tcp": pymodbus_tcp,
}
INDEPENDENT = {name: serve for name, serve in SERVERS.items() if serve is not pymodbus_tcp}

POINTS: dict[str, dict[str, object]] = {
    "signed input": {"table": "input", "register": 0, "type": "int16", "scale": 0.1},
    "input": {"table": "input", "register": 1, "type": "uint16", "scale": 0.1},
    **{
        f"input {order}": {"table": "input", "register": at, "type": "float32", "order": order}
        for order, at in FLOATS_AT.items()
    },
    "failed": {"table": "input", "register": 10, "type": "float32"},
    "signed holding": {"table": "holding", "register": 0, "type": "int16"},
    "holding": {"table": "holding", "register": 1, "type": "uint16"},
    **{
        f"holding {order}": {"table": "holding", "register": at, "type": "float32", "order": order}
        for order, at in FLOATS_AT.items()
    },
    **{f"coil {at}": {"table": "coil", "register": at} for at in (0, 2, 7, 8)},
    **{f"discrete {at}": {"table": "discrete", "register": at} for at in range(10)},
    "inverted": {"table": "discrete", "register": 0, "inverted": True},
}
VALUES = {
    "signed input": -10.0,
    "input": 140.0,
    **{f"input {order}": INPUT_FLOAT for order in FLOATS_AT},
    "failed": None,
    "signed holding": -32768.0,
    "holding": 65000.0,
    **{f"holding {order}": HOLDING_FLOAT for order in FLOATS_AT},
    **dict(zip(("coil 0", "coil 2", "coil 7", "coil 8"), (1.0, 1.0, 0.0, 1.0), strict=True)),
    **{f"discrete {at}": float(at in (1, 2, 9)) for at in range(10)},
    "inverted": 1.0,
}
OUTPUTS = {
    "relay": OutputSettings(unit=UNIT, register=1, token="bay-1"),
    "absent": OutputSettings(unit=UNIT, register=500, token="bay-1"),
}
UNFITTED = 9
TIME_OUT = {"watchdog_register": WATCHDOG_AT, "watchdog_counts_per_s": 10.0, "watchdog_s": 3.0}


@asynccontextmanager
async def linked(
    peer: Peer,
    points: Mapping[str, Mapping[str, object]],
    outputs: Mapping[str, OutputSettings] = OUTPUTS,
    **settings: object,
) -> AsyncIterator[ModbusLink]:
    link = open_link(
        "peer",
        peer.settings(**settings),
        {name: PointSettings.model_validate({"unit": UNIT, **one}) for name, one in points.items()},
        outputs,
        VirtualClock(),
    )
    assert isinstance(link, ModbusLink)
    try:
        yield link
    finally:
        await link.close()
        await settle()


def found(link: Link) -> dict[str, float | None]:
    return {name: sample.value for name, sample in link.snapshot().items()}


@pytest.mark.parametrize("name", SERVERS)
async def test_every_kind_of_value(name: str) -> None:
    async with SERVERS[name](HELD) as peer, linked(peer, POINTS) as link:
        await link.poll_once()
        samples = link.snapshot()
        assert {key: samples[key].value for key in VALUES} == {
            key: None if value is None else pytest.approx(value, rel=1e-12)
            for key, value in VALUES.items()
        }
        assert samples["failed"].reason == "not_a_number"
        assert (samples["absent"].value, samples["absent"].reason) == (None, "refused")


@pytest.mark.parametrize("name", SERVERS)
async def test_an_output_is_switched_and_read_back(name: str) -> None:
    async with SERVERS[name](HELD) as peer, linked(peer, {}) as link:
        for on in (True, False):
            await link.write("relay", on=on)
            if name in INDEPENDENT:
                assert peer.holds(UNIT, "coil", 1) == on
            await link.poll_once()
            assert link.snapshot()["relay"].value == float(on)
        with pytest.raises(BadReply, match="unit 3, coil 500, write on: refused with exception 2"):
            await link.write("absent", on=True)
        await link.poll_once()
        assert link.snapshot()["relay"].value == 0.0
        if name in INDEPENDENT:
            beside = [peer.holds(UNIT, "coil", at) for at in range(9)]
            assert beside == list(HELD[UNIT, "coil"][1])


@pytest.mark.parametrize("name", SERVERS)
async def test_a_module_s_time_out_is_set_before_its_output_may_be_on(name: str) -> None:
    """One register written by function 6, in the link's own cycle."""
    units = {str(UNIT): TIME_OUT}
    async with SERVERS[name](HELD) as peer, linked(peer, {}, units=units) as link:
        await link.poll_once()
        assert "reads 0 (0 s) and should read 30 (3 s)" in " ".join(link.remarks())
        with pytest.raises(BadReply, match="relay was not switched on: unit 3: its communication"):
            await link.write("relay", on=True)
        running = asyncio.ensure_future(link.run())
        try:
            await settle()
            await link.poll_once()  # its turn comes after the first cycle of `run`
            assert link.remarks() == []
            if name in INDEPENDENT:
                assert peer.holds(UNIT, "holding", WATCHDOG_AT) == 30
            await link.write("relay", on=True)
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
        if name in INDEPENDENT:
            assert peer.holds(UNIT, "coil", 1) == 1


# A server over TCP may stand for all units at once, and umodbus does so on a
# serial bus too, where it should keep silent (Modbus over Serial Line V1.02,
# section 2.1: only the module addressed answers).
OF_NO_UNIT = {
    "umodbus tcp": "refused",
    "umodbus rtu": "refused",
    "modbus-tk tcp": "no_reply",
    "modbus-tk rtu": "no_reply",
    "pymodbus tcp": "refused",
}


@pytest.mark.parametrize("name", SERVERS)
async def test_a_unit_that_is_not_there_has_a_reason_and_costs_the_others_nothing(
    name: str,
) -> None:
    points = {"nobody": {**POINTS["input"], "unit": UNFITTED}, "input": POINTS["input"]}
    async with SERVERS[name](HELD) as peer, linked(peer, points, timeout_s=0.3) as link:
        for _ in range(2):
            await link.poll_once()
            nobody = link.snapshot()["nobody"]
            assert (nobody.value, nobody.reason) == (None, OF_NO_UNIT[name])
            assert link.snapshot()["input"].value == pytest.approx(140.0)


@pytest.mark.parametrize("name", SERVERS)
async def test_a_read_beyond_the_end_gives_no_value_at_all(name: str) -> None:
    """Adjacent registers are one request: the module refuses all of it."""
    last = len(HELD[UNIT, "holding"][1]) - 1
    points = {
        f"holding {at}": {"table": "holding", "register": at, "type": "uint16"}
        for at in (last, last + 1)
    }
    async with SERVERS[name](HELD) as peer, linked(peer, points) as link:
        await link.poll_once()
        samples = [link.snapshot()[key] for key in points]
        assert [(one.value, one.reason) for one in samples] == [(None, "refused")] * 2


async def test_two_units_on_one_wire_are_told_apart() -> None:
    memory: Memory = {
        (unit, "input"): (0, tuple(100 * unit + at for at in range(4))) for unit in (1, 2, 17, 247)
    }
    points = {
        f"{unit} {at}": {"unit": unit, "table": "input", "register": at, "type": "uint16"}
        for unit, _ in memory
        for at in range(4)
    }
    async with modbus_tk_rtu(memory) as peer, linked(peer, points, {}) as link:
        await link.poll_once()
        assert found(link) == {
            name: 100 * int(name.split()[0]) + int(name.split()[1]) for name in points
        }
