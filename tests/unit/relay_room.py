"""Two rigs' relays behind one link, for tests of what keeps an output on; values invented."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from drivers.modbus.device import ModbusLink
from drivers.modbus.fake import FakeServer
from drivers.modbus.registers import OutputSettings, TcpSettings
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


class Room:
    """A link, the modules behind it, and a clock.

    Attributes:
        fake: the modules.
        clock: the link's.
        link: `permit-1` on the guarded module, `permit-2` on the bare one.
    """

    link: ModbusLink

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.fake = FakeServer(
            {(GUARDED, "coil", 0): 0, (BARE, "coil", 0): 0, (GUARDED, "holding", REGISTER): WANTED}
        )

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

    def renew(self) -> None:
        """Both rigs are alive."""
        for token in ("bay-1", "bay-2"):
            self.link.renew(token)


@asynccontextmanager
async def room(*, toggled: tuple[str, ...] = (), **settings: object) -> AsyncIterator[Room]:
    """A room whose link polls once a second, until the block ends."""
    made = Room()
    await made.fake.start()
    at = {"host": "127.0.0.1", "port": made.fake.port, "timeout_s": 0.1, "units": UNITS}
    made.link = ModbusLink(
        "bus",
        TcpSettings.model_validate(at | settings),
        {},
        {
            name: OutputSettings(unit=unit, register=0, token=token, toggled=name in toggled)
            for name, unit, token in (("permit-1", GUARDED, "bay-1"), ("permit-2", BARE, "bay-2"))
        },
        made.clock,
    )
    try:
        yield made
    finally:
        await made.link.close()
        await made.fake.stop()
        await settle()
