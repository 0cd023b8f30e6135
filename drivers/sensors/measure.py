"""From a link's signal to a channel's value: sensor, correction, state of the instrument.

Source:
    This project's design; the sums are in the modules beside this one.
"""

import math
from collections.abc import Mapping
from typing import Annotated

from pydantic import BaseModel, Field

from drivers.base import Sample
from drivers.sensors.condition import ConditionSettings, with_status, without_value
from drivers.sensors.correction import CorrectionSettings, corrected
from drivers.sensors.loop import LoopSettings, loop_value
from drivers.sensors.resistance import Pt100Settings, platinum_c
from drivers.sensors.thermocouple import ThermocoupleSettings, tip_c
from drivers.sensors.voltage import VoltageSettings, linear_value

SensorSettings = Annotated[
    ThermocoupleSettings | Pt100Settings | LoopSettings | VoltageSettings,
    Field(discriminator="signal"),
]
SENSORS: Mapping[str, type[BaseModel]] = {
    "thermocouple": ThermocoupleSettings,
    "pt100": Pt100Settings,
    "loop": LoopSettings,
    "voltage": VoltageSettings,
}
# What the link must give for each, and what only some can make of it.
SIGNAL_UNITS: Mapping[str, str] = {
    "thermocouple": "mV",
    "pt100": "ohm",
    "loop": "mA",
    "voltage": "V",
}
ONLY_DEGREES = frozenset({"thermocouple", "pt100"})


def measured(
    signal: Sample,
    *,
    sensor: SensorSettings | None,
    cold_junction: Sample | None,
    condition: ConditionSettings | None,
    condition_sample: Sample | None,
    correction: CorrectionSettings | None,
) -> Sample:
    """A channel's sample, of all that was read for it.

    Args:
        signal: what the link gave for the channel itself.
        sensor: what makes a value of the signal; None: it is one already.
        cold_junction: the terminals' temperature, °C; of a thermocouple only.
        condition: how the instrument's status is to be read; None: it has none.
        condition_sample: that status.
        correction: what was observed at the last comparison with a reference.

    Returns:
        A sample as old as the oldest of those it was made of, with the signal's
        `raw`. A bad signal is returned as it is; so is a signal to which nothing
        is to be done.
    """
    if signal.quality == "bad":
        return signal
    if signal.value is None or not math.isfinite(signal.value):
        return without_value(signal, "not_a_number", signal.at_ns)
    if sensor is None and condition is None and correction is None:
        return signal
    parts = [signal]
    if cold_junction is not None and isinstance(sensor, ThermocoupleSettings):
        parts.append(cold_junction)
    doubtful = max(parts, key=_doubt)
    if condition is not None and condition_sample is not None:
        parts.append(condition_sample)
    at_ns = min(part.at_ns for part in parts)
    value = _value(sensor, signal.value, cold_junction)
    if isinstance(value, str):
        return without_value(signal, value, at_ns)
    if correction is not None:
        value = corrected(correction, value)
    if not math.isfinite(value):
        return without_value(signal, "not_a_number", at_ns)
    sample = Sample(value, doubtful.quality, doubtful.reason, at_ns, signal.raw)
    return sample if condition is None else with_status(sample, condition, condition_sample)


def _doubt(sample: Sample) -> tuple[bool, bool]:
    """How far a sample is in doubt; of a thermocouple's two the worse one counts."""
    return sample.quality != "good", bool(sample.reason)


def _value(
    sensor: SensorSettings | None, value: float, cold_junction: Sample | None
) -> float | str:
    """In the channel's unit, or the reason why there is no value."""
    match sensor:
        case None:
            return value
        case ThermocoupleSettings():
            return tip_c(sensor.type, value, cold_junction)
        case Pt100Settings():
            return platinum_c(value)
        case LoopSettings():
            return loop_value(sensor, value)
        case VoltageSettings():
            return linear_value(sensor, value)
