"""Air goes into the bags and the clamp's pins are not in.

Hazard:
    10 kPa on 0.3 m2 is 3 kN, what four grown men weigh: the bags push open a clamp
    that nothing locks, onto whoever fills them.
Standard:
    Pins go in before the air: common practice, no source. Force is pressure times
    area.
Limits:
    `warn_kpa` and `trip_kpa` for the higher bag; `deadband_kpa` and
    `clear_after_s` for the end; `pad_area_m2` for the force told; `confirm_s`,
    so that one bounce of the switch is not believed.
Trips when:
    The bags have not been held yet, the pins are not in, and a bag is at 10 kPa or
    more for 1 s. Warns from 5 kPa. What stands goes on once they are held.
Clears when:
    For 2 s the pins have been in, or both bags at least 1 kPa below 5 kPa.
When data is missing:
    No pins switch fitted: not judged. A switch that cannot be read keeps what
    stood. A bag that cannot be read while air goes in counts as unknown and warns.
Not covered:
    Pins pulled once the bags have been held: `release.pins_under_pressure`. Air
    that goes into a limp bag shows no pressure for most of a minute, and so gives
    no earlier warning. Pins that are in but not seated.
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

RELEASE_TAG = "release.pins_under_pressure"


class Limits(PinLimits):
    """Limits of `run.pins_not_in`; what each is for stands above."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of pins and bags."""

    pins: Pins = SAFE


REST = Memory()

ROW = Row(
    tag="run.pins_not_in",
    title="air goes in and the pins are not in",
    consequence="the clamp flies open onto whoever is near",
    priority=Priority.HIGH,
    warn_do="STAND CLEAR. Shut the air, let it out, then pin.",
    trip_do="STAND CLEAR of the clamp. Shut the air supply.",
    warn_horn=Horn.COME_NOW,
    trip_horn=Horn.STAND_CLEAR,
    causes=("pins forgotten", "one pin not home", "a bent or dirty switch"),
    time_available="6 s from the first pressure to 10 kPa",
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
        limits, memory.pins, view, mine=before_held(view) and RELEASE_TAG not in view.standing
    )
    if pins is not memory.pins:
        memory = REST if pins is SAFE else Memory(pins)
    level = pins.standing.level
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if view.is_on(SWITCH) is None else CLEAR
    return memory, Finding(level, said(limits, view))
