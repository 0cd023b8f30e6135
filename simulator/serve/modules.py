"""The modules of the rigs as pymodbus serves them.

Values are fetched from the plant when a request comes, so nothing is copied
about between requests.
"""

from collections.abc import Collection

from pymodbus.constants import ExcCodes
from pymodbus.exceptions import NoSuchIdException
from pymodbus.simulator import DataType, SimAction, SimData, SimDevice

from simulator import registers
from simulator.panel import COILS
from simulator.plant import Rig

# Function codes of the Modbus Application Protocol V1.1b3: read, write one, write many.
READ_SWITCHES, READ_INPUTS = 2, 4
ON_COILS = frozenset({1, 5, 15})
ON_HOLDING = frozenset({3, 6, 16})
_MEASURED = {"temperatures": registers.temperature_words, "pressures": registers.pressure_words}


def units(rigs: list[Rig], modules: Collection[str]) -> dict[int, tuple[Rig, str]]:
    """Rig and module by Modbus unit."""
    return {
        registers.unit_of(number, module): (rig, module)
        for number, rig in enumerate(rigs)
        for module in modules
    }


def devices(served: dict[int, tuple[Rig, str]]) -> list[SimDevice]:
    """What pymodbus is to serve."""
    # Unit 0 stands for all the units no module has: they stay silent.
    return [_device(0, _silence)] + [
        _device(unit, _module(rig, module)) for unit, (rig, module) in served.items()
    ]


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
