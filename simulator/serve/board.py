"""The line a board sends, as docs/board-lines.md says; nothing waits here.

The columns of the csv form are `KEYS`, in that order.
"""

from collections.abc import Mapping
from enum import StrEnum

from simulator.plant import Rig
from simulator.registers import PRESSURES, SWITCHES, TEMPERATURES
from simulator.sensors import Failure
from simulator.serve.checksum import crc16
from simulator.wire import Trouble

KEYS = (*TEMPERATURES, *PRESSURES, *SWITCHES)
NUMBERS = 65536
_FAULT_WORDS = {Failure.OPEN: "!open", Failure.SHORT: "!short"}
_MEASURED = {"temperatures": TEMPERATURES, "pressures": PRESSURES}
_DECIMALS = {"temperatures": 1, "pressures": 2}


class Form(StrEnum):
    """Of a board's lines."""

    KEY_VALUE = "key_value"
    CSV = "csv"


def texts(rig: Rig) -> dict[str, str]:
    """What the board has to say, by key, in the order of `KEYS`."""
    said = {}
    for module, names in _MEASURED.items():
        for name in names:
            said[name] = _text(rig, module, name)
    switches = rig.switches()
    return said | {name: str(int(switches[name])) for name in SWITCHES}


def line(form: Form, number: int, values: Mapping[str, str]) -> bytes:
    """One whole line with its checksum and end.

    Args:
        form: of the line.
        number: its number, 0 to 65535.
        values: texts by key.
    """
    if form is Form.CSV:
        body = ",".join((str(number), *values.values()))
        return f"{body},{crc16(body.encode()):04X}\n".encode()
    body = " ".join((f"seq={number}", *(f"{key}={text}" for key, text in values.items())))
    return f"{body} crc={crc16(body.encode()):04X}\n".encode()


def _text(rig: Rig, module: str, name: str) -> str:
    # A converter that gives only errors is a board's `!failure`.
    if rig.wire.of(module) is Trouble.EXCEPTION:
        return "!failure"
    instrument = rig.instruments[name]
    shown = f"{instrument.shown:.{_DECIMALS[module]}f}"
    return _FAULT_WORDS.get(instrument.telling, shown)
