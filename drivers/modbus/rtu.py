"""One serial bus: one question, its exact answer, or why not."""

from drivers.modbus.codec import Request
from drivers.modbus.connection import NotConnected
from drivers.modbus.registers import OutputSettings, RtuSettings


class RtuConnection:
    """A serial bus; made once, used by one caller at a time, then closed."""

    def __init__(self, settings: RtuSettings) -> None:
        self.where = settings.where()

    @property
    def usable(self) -> bool:
        """Open, and in step."""
        return False

    async def open(self) -> None:
        """Open the port."""
        raise NotConnected(self.where)

    async def read(self, request: Request) -> tuple[int, ...]:
        """Ask for registers or bits."""
        raise NotConnected(self.where)

    async def write(self, output: OutputSettings, *, on: bool) -> None:
        """Write one coil."""
        raise NotConnected(self.where)

    async def write_register(self, unit: int, number: int, value: int) -> None:
        """Write one holding register."""
        raise NotConnected(self.where)

    def give_up(self) -> None:
        """End the wait under way."""

    def close(self) -> None:
        """Close."""
