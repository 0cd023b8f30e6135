"""Platinum resistance thermometers of 100 ohm at 0 °C: ohms to degrees.

Source:
    IEC 60751: R = R0 (1 + A t + B t² + C (t - 100 °C) t³), C only below 0 °C,
    from -200 to 850 °C.
"""

import math
from typing import Literal

from pydantic import BaseModel

from drivers.settings import STRICT

R0_OHM = 100.0
A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12  # per °C, °C² and °C⁴
LOW_C, HIGH_C = -200.0, 850.0

# A lead shorted at the far end still shows the copper on the way: 10 ohm is
# about 140 m of two cores of 0.5 mm². The scale begins at 18.5 ohm. Common
# practice, no source.
SHORT_OHM = 10.0
# The scale ends at 390.5 ohm. Inputs for this sensor commonly end at 400 ohm
# and stay there when the lead is open. Common practice, no source.
OPEN_OHM = 400.0

NEWTON_STEPS_MAX = 8
NEWTON_STEP_C = 1e-9


class Pt100Settings(BaseModel):
    """A Pt100 resistance thermometer whose link gives its ohms.

    Attributes:
        signal: `pt100`; the link's value is in ohm, of the sensor without its leads.
    """

    model_config = STRICT

    signal: Literal["pt100"]


def resistance_ohm(platinum_c: float) -> float:
    """What a Pt100 has at a temperature from -200 to 850 °C, ohm."""
    t = platinum_c
    cubic = C * (t - 100.0) * t**3 if t < 0.0 else 0.0
    return R0_OHM * (1.0 + A * t + B * t * t + cubic)


LOW_OHM, HIGH_OHM = resistance_ohm(LOW_C), resistance_ohm(HIGH_C)


def platinum_c(signal_ohm: float) -> float | str:
    """Temperature of a Pt100.

    Args:
        signal_ohm: its resistance without leads, ohm.

    Returns:
        °C, or the reason why there is none.
    """
    if signal_ohm < LOW_OHM:
        return "short_circuit" if signal_ohm < SHORT_OHM else "below_range"
    if signal_ohm > HIGH_OHM:
        return "open_circuit" if signal_ohm >= OPEN_OHM else "above_range"
    ratio = signal_ohm / R0_OHM
    seed_c = (-A + math.sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
    return seed_c if seed_c >= 0.0 else _refined_c(signal_ohm, seed_c)


def _refined_c(signal_ohm: float, seed_c: float) -> float:
    """Newton's method on the whole formula; the seed leaves C out, up to 2.4 °C."""
    t = seed_c
    for _ in range(NEWTON_STEPS_MAX):
        slope = R0_OHM * (A + 2.0 * B * t + C * (4.0 * t - 300.0) * t * t)
        step_c = (resistance_ohm(t) - signal_ohm) / slope
        t -= step_c
        if abs(step_c) < NEWTON_STEP_C:
            break
    return t
