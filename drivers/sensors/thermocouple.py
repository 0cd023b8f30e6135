"""Thermocouples of types K and J: millivolts to degrees, the terminals added as voltage.

A thermocouple shows the difference between its tip and its terminals. What the
terminals' temperature is worth in millivolts is added first, then the sum is
turned into degrees; degrees added to degrees would be wrong by some tenths to
several degrees, since no thermocouple is straight.

Source:
    Reference functions of ITS-90: NIST Monograph 175 and IEC 60584-1, by the
    library `thermocouple-its90`, which refines the published inverse until it
    agrees with the reference function.
"""

from functools import cache
from typing import Literal, Self

from pydantic import BaseModel, model_validator
from thermocouple_its90 import TYPES

from drivers.base import Sample
from drivers.settings import STRICT

ThermocoupleType = Literal["K", "J"]

# Terminals of a module that works; beyond it their thermometer is broken.
COLD_JUNCTION_LOW_C, COLD_JUNCTION_HIGH_C = -40.0, 100.0


class ThermocoupleSettings(BaseModel):
    """A thermocouple whose link gives its millivolts as they are, uncompensated.

    Attributes:
        signal: `thermocouple`; the link's value is in mV.
        type: `K` or `J`, by the colour code of plug and lead.
    """

    model_config = STRICT

    signal: Literal["thermocouple"]
    type: ThermocoupleType

    @model_validator(mode="after")
    def _ready(self) -> Self:
        _span_mv(self.type)  # some 10 ms once, which no frame should wait for
        return self


def tip_c(kind: ThermocoupleType, signal_mv: float, cold_junction: Sample | None) -> float | str:
    """Temperature of the tip.

    Args:
        kind: type of the thermocouple.
        signal_mv: as measured at the terminals, mV.
        cold_junction: the terminals' temperature, °C.

    Returns:
        °C, or the reason why there is none: `cold_junction` when the terminals'
        temperature is missing or cannot be believed; `below_range` or
        `above_range` where the reference function ends.
    """
    if cold_junction is None or cold_junction.quality == "bad":
        return "cold_junction"
    terminals_c = cold_junction.value
    if terminals_c is None or not COLD_JUNCTION_LOW_C <= terminals_c <= COLD_JUNCTION_HIGH_C:
        return "cold_junction"
    reference = TYPES[kind]
    tip_mv = signal_mv + reference.emf(terminals_c)
    low_mv, high_mv = _span_mv(kind)
    if tip_mv < low_mv:
        return "below_range"
    if tip_mv > high_mv:
        return "above_range"
    return reference.temperature(tip_mv)


@cache
def _span_mv(kind: ThermocoupleType) -> tuple[float, float]:
    return TYPES[kind].invertible_emf_range
