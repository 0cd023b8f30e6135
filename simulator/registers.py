"""The register map of the generic modules, from the rig's side (invented).

Rig number k, from 0, answers on units 10k+1 (temperatures), 10k+2 (pressures)
and 10k+3 (relays and switches). Bits are packed lowest address first, as
pymodbus keeps them.
"""

import math
import struct

from simulator.panel import COILS
from simulator.plant import Rig
from simulator.sensors import Failure
from simulator.wire import MODULE_NAMES

UNITS_PER_RIG = 10
RIGS_MAX = 25  # unit numbers end at 247
MODULES = {name: place for place, name in enumerate(MODULE_NAMES, 1)}

OPEN_COUNTS = 32767
SHORT_COUNTS = -32768
TEMPERATURES = ("pad_inner_c", "pad_outer_c", "ambient_c")
PRESSURES = ("bag_inner_kpa", "bag_outer_kpa", "supply_kpa")
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


def unit_of(rig_number: int, module: str) -> int:
    """The Modbus unit of one module of one rig."""
    return UNITS_PER_RIG * rig_number + MODULES[module]


def temperature_words(rig: Rig) -> list[int]:
    """Input registers of the temperature module: int16, 0.1 °C per count."""
    words = []
    for name in TEMPERATURES:
        instrument = rig.instruments[name]
        # With the bound first, what is no number (a converter gone mad) ends there too.
        counts = round(max(SHORT_COUNTS + 1, min(OPEN_COUNTS - 1, instrument.shown * 10)))
        if instrument.telling is Failure.OPEN:
            counts = OPEN_COUNTS
        elif instrument.telling is Failure.SHORT:
            counts = SHORT_COUNTS
        words.append(counts & 0xFFFF)
    return words


def pressure_words(rig: Rig) -> list[int]:
    """Input registers of the pressure module: float32, ABCD, kPa gauge; failed is NaN."""
    words: list[int] = []
    for name in PRESSURES:
        instrument = rig.instruments[name]
        failed = instrument.telling in {Failure.OPEN, Failure.SHORT}
        words += struct.unpack(">HH", struct.pack(">f", math.nan if failed else instrument.shown))
    return words


def switch_bits(rig: Rig) -> int:
    """Discrete inputs of the relay module, packed."""
    switches = rig.switches()
    return sum(1 << place for place, name in enumerate(SWITCHES) if switches[name])


def coil_bits(rig: Rig) -> int:
    """Coils of the relay module as they really are, packed."""
    return sum(1 << place for place, name in enumerate(COILS) if rig.relays.coils[name])


def write_coils(rig: Rig, first: int, values: list[bool]) -> bool:
    """Set coils from address `first`; False, and nothing set, if one does not exist."""
    if first < 0 or first + len(values) > len(COILS):
        return False
    for name, on in zip(COILS[first:], values, strict=False):
        rig.relays.coils[name] = bool(on)
    return True
