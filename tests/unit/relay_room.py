"""Two rigs' relays behind one link, for tests of what keeps an output on; values invented."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from drivers.modbus.device import ModbusLink
from drivers.modbus.fake import FakeServer, Fault
from drivers.modbus.fake_rtu import FakeBus, RtuFault
from drivers.modbus.registers import OutputSettings, PollSettings, RtuSettings, TcpSettings
from tests.unit.link_polls import polls
from tests.virtual_clock import VirtualClock, settle

GUARDED, BARE = 3, 4  # units: one with a communication time-out, one without
REGISTER, COUNTS_PER_S, WATCHDOG_S = 16, 10, 5.0
WANTED = 50
WRITE_COIL, WRITE_REGISTER = 5, 6
ON = 0xFF00
UNITS = {
    str(GUARDED): {
        "watchdog_register": REGISTER,
        "watchdog_counts_per_s": COUNTS_PER_S,
        "watchdog_s": WATCHDOG_S,
    }
}


VALUES = {
    (GUARDED, "coil", 0): 0,
    (GUARDED, "coil", 1): 0,
    (BARE, "coil", 0): 0,
    (GUARDED, "holding", REGISTER): WANTED,
}


class Room:
    """A link, the modules behind it, and a clock.

    Attributes:
        fake: the modules.
        clock: the link's.
        link: `permit-1` on the guarded module, `permit-2` on the bare one, and a
            `horn` on the guarded one that must sound all the same.
    """

    link: ModbusLink

    def __init__(self, port: Path | None) -> None:
        self.clock = VirtualClock()
        self.fake = FakeServer(VALUES) if port is None else FakeBus(VALUES, port)

    def wire(self, settings: dict[str, Any]) -> PollSettings:
        """The settings of a link over the wire the modules are on."""
        whole = {"timeout_s": 0.2, "units": UNITS} | settings
        if isinstance(self.fake, FakeServer):
            at: dict[str, Any] = {"host": "127.0.0.1", "port": self.fake.port}
            return TcpSettings.model_validate(at | whole)
        at = {"device": self.fake.device, "parity": "none"}  # a pty refuses parity
        return RtuSettings.model_validate(at | whole)

    def silence(self, *units: int) -> None:
        """These modules answer no more; all others do."""
        if isinstance(self.fake, FakeServer):
            self.fake.faults = dict.fromkeys(units, Fault.SILENT)
        else:
            self.fake.faults = dict.fromkeys(units, RtuFault.SILENT)

    @property
    def time_out(self) -> int:
        """What the guarded module's time-out reads."""
        return self.fake.values[GUARDED, "holding", REGISTER]

    @time_out.setter
    def time_out(self, counts: int) -> None:
        self.fake.values[GUARDED, "holding", REGISTER] = counts

    def coil(self, unit: int) -> bool:
        """Whether the relay of a module is closed."""
        return bool(self.fake.values[unit, "coil", 0])

    def writes(self, function: int) -> list[tuple[int, int]]:
        """Units and values written by one function so far."""
        return [(one.unit, one.value) for one in self.fake.asked if one.function == function]

    def edges(self, unit: int) -> list[bool]:
        """What was written to the coil of a module so far."""
        return [value == ON for at, value in self.writes(WRITE_COIL) if at == unit]

    async def seconds(self, count: int, *, alive: tuple[str, ...] = ("bay-1", "bay-2")) -> None:
        """So many polls, with these owners alive."""
        for _ in range(count):
            for token in alive:
                self.link.renew(token)
            await polls(self.link, self.clock, 1)


WIRES = pytest.mark.parametrize("wire", ["tcp", "rtu"])


@asynccontextmanager
async def room(
    wire: str = "tcp", *, toggled: tuple[str, ...] = (), **settings: Any
) -> AsyncIterator[Room]:
    """A room whose link polls once a second, until the block ends.

    Args:
        wire: `tcp`, or `rtu` for a serial bus.
        toggled: outputs that are on only while they move.
        settings: of the link, where they are not the room's own.
    """
    with TemporaryDirectory() as folder:
        made = Room(Path(folder, "port") if wire == "rtu" else None)
        await made.fake.start()
        made.link = ModbusLink("bus", made.wire(settings), {}, _outputs(toggled), made.clock)
        try:
            yield made
        finally:
            await made.link.close()
            await made.fake.stop()
            await settle()


def _outputs(toggled: tuple[str, ...]) -> dict[str, OutputSettings]:
    places = {"permit-1": (GUARDED, "bay-1"), "permit-2": (BARE, "bay-2")}
    horn = OutputSettings(unit=GUARDED, register=1, token="bay-1", guarded=False)
    return {"horn": horn} | {
        name: OutputSettings(unit=unit, register=0, token=token, toggled=name in toggled)
        for name, (unit, token) in places.items()
    }
