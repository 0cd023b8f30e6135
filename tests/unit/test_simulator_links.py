"""curehold's own links on the simulator's wires: what they make of each trouble.

Simulator and drivers share no code. A trouble never gives a wrong value: readings are
right, or bad and say why; what a reason means is in docs/maintenance.md.
"""

import asyncio
from contextlib import suppress
from pathlib import Path

import pytest

from drivers.base import Link
from drivers.modbus import PointSettings, RtuSettings, TcpSettings, open_link
from drivers.serial_lines import LinesSettings
from drivers.serial_lines import PointSettings as LinePoint
from drivers.serial_lines import open_link as open_lines
from simulator.plant import Rig
from simulator.serve import Fronts
from simulator.wire import Trouble
from tests.unit.wire_plugs import GUARD_S, served, two_rigs
from tests.virtual_clock import VirtualClock

TIMEOUT_S = 0.15
POINTS = {
    "pad_inner_c": PointSettings(
        unit=1, table="input", register=0, type="int16", scale=0.1, open_at=32767
    ),
    "bag_inner_kpa": PointSettings(unit=2, table="input", register=0, type="float32"),
    "mains_ok": PointSettings(unit=3, table="discrete", register=5),
}
# Of the temperatures, then of the other modules, at the poll in which it happens.
TCP = {
    Trouble.NONE: ("", ""),
    Trouble.SILENT: ("no_reply", ""),
    Trouble.LATE: ("no_reply", ""),
    Trouble.GARBLED: ("bad_reply", ""),
    Trouble.TRUNCATED: ("bad_reply", ""),
    Trouble.FOREIGN: ("bad_reply", ""),
    Trouble.EXCEPTION: ("refused", ""),
    Trouble.DOUBLED: ("", ""),
    Trouble.HANGS_UP: ("link_down", ""),  # it is connected anew for each of the others
    Trouble.BABBLES: ("bad_reply", ""),
}
RTU = TCP | {
    # On a bus a second answer may be a stranger's.
    Trouble.DOUBLED: ("bad_reply", ""),
    Trouble.HANGS_UP: ("link_down", "link_down"),
    Trouble.BABBLES: ("bad_reply", "bad_reply"),
}
REASONS = {"tcp": TCP, "rtu": RTU}
LINES = {
    Trouble.NONE: "",
    Trouble.SILENT: "no_reply",
    Trouble.LATE: "",
    Trouble.GARBLED: "bad_reply",
    Trouble.TRUNCATED: "bad_reply",
    Trouble.FOREIGN: "",
    Trouble.EXCEPTION: "failure",
    Trouble.DOUBLED: "",
    Trouble.HANGS_UP: "link_down",
    Trouble.BABBLES: "bad_reply",
}


@pytest.fixture
def rigs() -> list[Rig]:
    return two_rigs()


def modbus_link(wire: str, fronts: Fronts, clock: VirtualClock) -> Link:
    told = fronts.told()
    if wire == "tcp":
        port = int(str(told["modbus_port"]))
        return open_link(
            "sim", TcpSettings(host="127.0.0.1", port=port, timeout_s=TIMEOUT_S), POINTS, {}, clock
        )
    bus = RtuSettings(device=str(told["rtu_device"]), parity="none", timeout_s=TIMEOUT_S)
    return open_link("sim", bus, POINTS, {}, clock)


def reasons(link: Link) -> dict[str, str]:
    return {name: sample.reason for name, sample in link.snapshot().items()}


@pytest.mark.parametrize("trouble", list(Trouble))
@pytest.mark.parametrize("wire", ["tcp", "rtu"])
async def test_modbus(wire: str, trouble: Trouble, rigs: list[Rig], tmp_path: Path) -> None:
    clock = VirtualClock()
    async with served(rigs, "tcp" if wire == "tcp" else f"rtu:{tmp_path / 'bus'}") as fronts:
        link = modbus_link(wire, fronts, clock)
        await link.poll_once()
        assert set(reasons(link).values()) == {""}
        rigs[0].wire.troubles["temperatures"] = trouble
        await clock.advance(1.0)
        await link.poll_once()
        found = reasons(link)
        assert (found.pop("pad_inner_c"), set(found.values())) == (
            REASONS[wire][trouble][0],
            {REASONS[wire][trouble][1]},
        )
        rigs[0].wire.troubles.clear()
        rigs[0].instruments["pad_inner_c"].shown = 87.6
        async with asyncio.timeout(GUARD_S):
            while set(reasons(link).values()) != {""} or value_of(link) != pytest.approx(87.6):
                await clock.advance(1.0)
                await link.poll_once()
        await link.close()


def value_of(link: Link) -> float | None:
    return link.snapshot()["pad_inner_c"].value


@pytest.mark.parametrize("trouble", list(Trouble))
@pytest.mark.parametrize("module", ["temperatures", "pressures"])
async def test_lines(module: str, trouble: Trouble, rigs: list[Rig], tmp_path: Path) -> None:
    """In lockstep: a line a plant second, looked at once a second."""
    clock = VirtualClock()
    rigs[0].wire.late_s = 2.0
    name = {"temperatures": "pad_inner_c", "pressures": "bag_inner_kpa"}[module]
    settings = LinesSettings(
        device=str(tmp_path / "board"), form="key_value", period_s=1.0, timeout_s=4.0
    )
    async with served(rigs[:1], f"lines:{tmp_path / 'board'}", plant=True) as fronts:
        link = open_lines("sim", settings, {name: LinePoint(key=name)}, {}, clock)
        running = asyncio.create_task(link.run())

        async def pass_s(seconds: int) -> list[str]:
            found = []
            for _ in range(seconds):
                rigs[0].advance()
                fronts.moved()
                await clock.advance(1.0)
                found.append(reasons(link)[name])
            return found

        await pass_s(8)
        assert link.snapshot()[name].value == pytest.approx(
            rigs[0].instruments[name].shown, abs=0.06
        )
        rigs[0].wire.troubles[module] = trouble
        assert (await pass_s(8))[-1] == LINES[trouble]
        rigs[0].wire.troubles.clear()
        assert (await pass_s(12))[-4:] == [""] * 4
        assert link.snapshot()[name].value == pytest.approx(
            rigs[0].instruments[name].shown, abs=0.06
        )
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        await link.close()
