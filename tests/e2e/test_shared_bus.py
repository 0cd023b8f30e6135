"""Two rigs on one serial bus, supervised in real time over a real pseudo-terminal.

One rig's task hangs; the other goes on asking the same relay module. Values and
modules are invented.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from daemon.clock import RealClock
from daemon.config import load
from daemon.store.store import Store
from daemon.supervise import Supervisor
from drivers.modbus.fake_rtu import FakeBus

EXAMPLE = Path(__file__).parents[2] / "deploy" / "curehold.bus.example.toml"
GUARD_S = 30.0
PERIOD_S, HOLD_S = 0.5, 1.5
RELAYS, TIME_OUT = 3, 16
PERMITS = {"bay-4": 0, "bay-5": 4}
BUTTONS = {"bay-4": 0, "bay-5": 3}
MAINS = 6
BAG_UNIT = 5


def modules() -> dict[tuple[int, str, int], int]:
    """Cold pads, empty bags, nothing pressed, mains there; a time-out as delivered."""
    return (
        {(1, "input", register): 200 for register in range(8)}
        | {(2, "discrete", register): int(register == MAINS) for register in range(8)}
        | {(RELAYS, "coil", register): 0 for register in range(8)}
        | {(RELAYS, "holding", TIME_OUT): 0}
        | {(BAG_UNIT, "input", register): 0 for register in range(4)}
    )


def configured(home: Path, bus: FakeBus) -> Path:
    """The example, with its bags on the bus too, polled twice a second."""
    text = EXAMPLE.read_text(encoding="utf-8")
    text = text.replace("/dev/serial/by-id/usb-bus-adapter", bus.device)
    text = text.replace('parity = "even"', 'parity = "none"')  # a pty refuses parity
    text = text.replace(
        "period_s = 1.0\n", f"period_s = {PERIOD_S}\nhold_s = {HOLD_S}\nlate_s = 0.5\n"
    ).replace("baud_rate = 19200", "baud_rate = 115200")
    text = text.replace("timeout_s = 0.2", "timeout_s = 0.1")
    for register, key in enumerate(
        f"bay{rig}_{side}_kpa" for rig in (4, 5) for side in ("inner", "outer")
    ):
        place = f'link = "bus", unit = {BAG_UNIT}, table = "input", register = {register}'
        text = text.replace(f'link = "air", key = "{key}"', f'{place}, type = "int16"')
    begin, end = text.index("[links.air]"), text.index("[rigs.bay-4.facts]")
    text = text[:begin] + text[end:]
    text = text.replace('title = "BAY', f'frame_period_s = {PERIOD_S}\ntitle = "BAY')
    for folder in ("/var/lib/curehold", "/run/curehold"):
        text = text.replace(folder, str(home))
    path = home / "bus.toml"
    path.write_text(text, encoding="utf-8")
    return path


class Hung:
    """A clock that wakes nobody: whoever waits by it hangs from then on."""

    def __init__(self, clock: RealClock) -> None:
        self._clock = clock
        self.reached = asyncio.Event()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._clock, name)

    async def sleep_until(self, t_ns: int) -> None:
        self.reached.set()
        await asyncio.Event().wait()


@asynccontextmanager
async def supervised(home: Path, bus: FakeBus) -> AsyncIterator[Supervisor]:
    config = load(configured(home, bus))
    store = await Store.open(config.store.path)
    clock = RealClock()
    supervisor = Supervisor(config, store, clock)
    stop = asyncio.Event()
    running = asyncio.create_task(supervisor.run(stop))
    try:
        yield supervisor
    finally:
        stop.set()
        await running
        await store.close()


async def until(bus: FakeBus, holds: Callable[[], bool]) -> None:
    """Return when it holds; looked at whenever the bus is asked something."""
    async with asyncio.timeout(GUARD_S):
        await bus.seen(lambda _: holds())


async def heated(bus: FakeBus, supervisor: Supervisor) -> None:
    """Start is pressed at both rigs, and both permits close."""
    # A button found pressed is no press: it must be seen up before.
    await until(bus, lambda: all(rig._seq > 2 for rig in supervisor.rigs.values()))
    for register in BUTTONS.values():
        bus.values[2, "discrete", register] = 1
    await until(bus, lambda: all(permit(bus, rig) for rig in PERMITS))
    for register in BUTTONS.values():
        bus.values[2, "discrete", register] = 0


def permit(bus: FakeBus, rig: str) -> bool:
    return bool(bus.values[RELAYS, "coil", PERMITS[rig]])


@pytest.mark.proves("an output stays on only while its owner is alive")
@pytest.mark.parametrize("hung", ["bay-4", "bay-5", None])
async def test_a_hung_rig_loses_its_heat_and_its_neighbour_does_not(
    tmp_path: Path, hung: str | None
) -> None:
    """The module is asked all the time, so its own time-out guards neither."""
    bus = FakeBus(modules(), tmp_path / "adapter")
    await bus.start()
    async with supervised(tmp_path, bus) as supervisor:
        await until(bus, lambda: bus.values[RELAYS, "holding", TIME_OUT] == 40)
        await heated(bus, supervisor)
        others = [rig for rig in PERMITS if rig != hung]
        if hung is not None:
            rig = supervisor.rigs[hung]
            rig._clock = held = Hung(rig._clock)
            await held.reached.wait()
            began_ns = RealClock().now_ns()
            await until(bus, lambda: not permit(bus, hung))
            took_s = (RealClock().now_ns() - began_ns) / 1e9
            assert took_s > HOLD_S - 2 * PERIOD_S, "it was let go because it hung"
        # For longer than that nothing else changes.
        frames = {rig: supervisor.rigs[rig]._seq for rig in others}
        more = round(3 * HOLD_S / PERIOD_S)
        await until(
            bus, lambda: all(supervisor.rigs[rig]._seq >= frames[rig] + more for rig in others)
        )
        assert [rig for rig in PERMITS if permit(bus, rig)] == others
    assert not any(permit(bus, rig) for rig in PERMITS), "all off at the end"
    await bus.stop()
