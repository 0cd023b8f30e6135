"""The rigs on the wire, and the plant's pace against real time.

Values are fetched from the plant when a request comes, so nothing is copied
about between requests.
"""

import asyncio
import time

from pymodbus.constants import ExcCodes
from pymodbus.exceptions import NoSuchIdException
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimAction, SimData, SimDevice

from simulator import registers
from simulator.panel import COILS
from simulator.plant import Rig

HOST = "127.0.0.1"
# Function codes of the Modbus Application Protocol V1.1b3: read, write one, write many.
READ_SWITCHES, READ_INPUTS = 2, 4
ON_COILS = frozenset({1, 5, 15})
ON_HOLDING = frozenset({3, 6, 16})
_MEASURED = {"temperatures": registers.temperature_words, "pressures": registers.pressure_words}
BEHIND_S_MAX = 0.25


class ServeError(Exception):
    """A port could not be opened; says which and what to do."""


class ModbusFront:
    """A Modbus TCP server for some rigs, on the loopback interface only."""

    def __init__(self, rigs: list[Rig]) -> None:
        self._rigs = rigs
        self._server: ModbusTcpServer | None = None

    async def open(self, port: int) -> int:
        """Listen.

        Args:
            port: 0 picks a free one.

        Returns:
            The port.

        Raises:
            ServeError: the port cannot be had.
        """
        devices = [
            _device(registers.unit_of(number, module), _module(rig, module))
            for number, rig in enumerate(self._rigs)
            for module in registers.MODULES
        ]
        # Unit 0 stands for all the units no module has: they stay silent.
        devices.append(_device(0, _silence))
        server = ModbusTcpServer(devices, address=(HOST, port), ignore_missing_devices=True)
        try:
            await server.serve_forever(background=True)
        except RuntimeError as error:
            raise ServeError(
                f"Modbus port {port} on {HOST} cannot be opened; choose another, or 0 for any"
            ) from error
        self._server = server
        # pymodbus keeps the asyncio server it listens with as its transport.
        bound: int = server.transport.sockets[0].getsockname()[1]  # type: ignore[attr-defined]  # typed as a transport there
        return bound

    async def close(self) -> None:
        """Stop listening and hang up; twice is no error."""
        if self._server is not None:
            await self._server.shutdown()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
            self._server = None


async def _silence(
    _function: int,
    _start: int,
    _address: int,
    _count: int,
    _words: list[int],
    _values: list[int] | list[bool] | None,
) -> ExcCodes | None:
    # With ignore_missing_devices pymodbus answers this with nothing at all.
    raise NoSuchIdException


def _module(rig: Rig, module: str) -> SimAction:
    """What one module of one rig does on a request: refresh `words`, or take `values`."""

    async def act(
        function: int,
        _start: int,
        address: int,
        _count: int,
        words: list[int],
        values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        if module in rig.wire.silent_modules:
            raise NoSuchIdException
        if module == "relays":
            return _relays(rig, function, address, words, values)
        if function != READ_INPUTS:
            return ExcCodes.ILLEGAL_FUNCTION
        fresh = _MEASURED[module](rig)
        words[: len(fresh)] = fresh
        return None

    return act


def _relays(
    rig: Rig,
    function: int,
    address: int,
    words: list[int],
    values: list[int] | list[bool] | None,
) -> ExcCodes | None:
    rig.relays.heard()
    if function == READ_SWITCHES:
        words[0] = registers.switch_bits(rig)
    elif function in ON_COILS:
        if values and not registers.write_coils(rig, address, [bool(on) for on in values]):
            return ExcCodes.ILLEGAL_ADDRESS
        words[0] = registers.coil_bits(rig)
    elif function in ON_HOLDING:
        if values:
            rig.relays.timeout_s = float(values[0])
        words[0] = int(rig.relays.timeout_s)
    else:
        return ExcCodes.ILLEGAL_FUNCTION
    return None


def _device(unit: int, action: SimAction) -> SimDevice:
    return SimDevice(
        id=unit,
        simdata=(
            [SimData(0, values=[False] * len(COILS), datatype=DataType.BITS)],
            [SimData(0, values=[False] * len(registers.SWITCHES), datatype=DataType.BITS)],
            [SimData(0, values=[0], datatype=DataType.REGISTERS)],
            [SimData(0, values=[0] * 6, datatype=DataType.REGISTERS)],
        ),
        action=action,
    )


class WallPace:
    """Holds the plant to at most `speed` plant seconds per real second.

    A plant that has fallen behind does not run faster to catch up.
    """

    def __init__(self, speed: float | None) -> None:
        self._speed = speed
        self._due_s = time.monotonic()

    async def hold(self, plant_s: float) -> None:
        """Wait until the `plant_s` just advanced may be over; without a speed, let others run."""
        if self._speed is None:
            await asyncio.sleep(0)
            return
        now_s = time.monotonic()
        self._due_s = max(self._due_s, now_s - BEHIND_S_MAX) + plant_s / self._speed
        await asyncio.sleep(max(0.0, self._due_s - now_s))
