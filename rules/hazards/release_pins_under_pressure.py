"""The clamp's pins are out while a bag still presses.

Hazard:
    10 kPa on 0.3 m2 is still 3 kN, what four grown men weigh: a clamp whose
    pins are out flies open, onto whoever pulled them.
Standard:
    Locking pins are never removed until all air has exhausted: common practice,
    no source. Force is pressure times area.
Limits:
    `warn_kpa` and `trip_kpa` for the higher bag; `deadband_kpa` and
    `clear_after_s` for the end; `pad_area_m2` for the force told; `confirm_s`,
    so that one bounce of the switch is not believed.
Trips when:
    The pins are out (as they are, not as they are pulled) and a bag is at
    10 kPa or more, for 1 s, in any phase once the bags have been held. Warns
    from 5 kPa.
Clears when:
    For 2 s the pins have been in, or both bags at least 1 kPa below 5 kPa.
When data is missing:
    No pins switch fitted: not judged. A switch that cannot be read keeps what
    stood. A bag that was held and cannot be read now counts as unknown and
    warns.
Not covered:
    Bags that are filled with the pins not in: `run.pins_not_in` tells that, until
    they have been held. Pins that are in but not seated; a clamp that is bent; air
    trapped behind a closed valve that the gauge does not see.
"""

from dataclasses import dataclass

from rules.events import Horn, Level
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.pins import (
    SAFE,
    SWITCH,
    PinLimits,
    Pins,
    at_rest,
    before_held,
    fitted,
    follow,
    said,
)
from rules.view import View

FILLING_TAG = "run.pins_not_in"


class Limits(PinLimits):
    """Limits of `release.pins_under_pressure`; what each is for stands above."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of pins and bags."""

    pins: Pins = SAFE


REST = Memory()

ROW = Row(
    tag="release.pins_under_pressure",
    title="pins out while there is air in a bag",
    consequence="the clamp flies open onto whoever is near",
    priority=Priority.HIGH,
    warn_do="AIR IS STILL IN. Do not touch the clamp.",
    trip_do="AIR IS STILL IN: stand clear of the clamp.",
    warn_horn=Horn.COME_NOW,
    trip_horn=Horn.STAND_CLEAR,
    causes=("the other bag still full", "pins pulled before the air was out", "a bent switch"),
    time_available="2 s: the way to the second pin",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    if at_rest(memory.pins, view):
        return memory, CLEAR
    if not fitted(view):
        return REST, NOT_JUDGED
    pins = follow(
        limits, memory.pins, view, mine=not (before_held(view) or FILLING_TAG in view.standing)
    )
    if pins is not memory.pins:
        memory = REST if pins is SAFE else Memory(pins)
    level = pins.standing.level
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if view.is_on(SWITCH) is None else CLEAR
    return memory, Finding(level, said(limits, view))
