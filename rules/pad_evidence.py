"""What shows that a pad's thermocouple tells something else than its pad's temperature.

Looked at every 10 s, in readings that are good and believed. Four things no sound
thermocouple in a pad does:

- it **stands still** though it used to flicker (`rules.stillness`);
- it **does not move** at all while its pad must: warming up or cooling down, the
  other pad has gone on by some degrees;
- it **falls** under air faster than a pad pressed on rubber can cool: it has slipped
  out, or its wires were crossed;
- it reads **colder** than the air though its pad has been warm in this run, or is
  heated and does not rise: its wires are crossed.

Source:
    Own method. A pad of 18 kJ/K gives at most some 1.2 kW to rubber and air, 4 °C/min
    (heat balance, figures from memory); the rest is common practice, no source.
"""

from enum import StrEnum
from typing import NamedTuple

from rules import stillness
from rules.frame import NS_PER_S
from rules.heating import LOOK_S, Trail, change
from rules.phases import BETWEEN_RUNS, Phase
from rules.stillness import UNSEEN, Stillness
from rules.view import View

FALL_S = 60.0
FALL_NS = int(FALL_S * NS_PER_S)
UNMOVED_S = 180.0
HEATED_S = 120.0
RISES_C = 0.5
WARM_C = 10.0
BELOW_SET_C = 10.0
# A reading that fell is right again when it stands with the other pad, or leaps back.
AGREES_C = 10.0
# Colder than this under the air by the end of it, and crossed wires are mended.
NO_LONGER_COLD_C = 2.0
PRESSED = frozenset({Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})
# Left to cool overnight a pad may come below what the air had by day.
COLD_NEVER = PRESSED | {Phase.PREHEAT, Phase.FITTING}
AIR_C_MAX = 15.0
OFF_TYRE = BETWEEN_RUNS | {Phase.PREHEAT, Phase.FITTING}
NO_AIR_KPA = 10.0


class Evidence(StrEnum):
    """What a thermocouple was caught at."""

    NONE = ""
    FROZEN = "frozen"
    FALLEN = "fallen"
    CROSSED = "crossed"


class Figures(NamedTuple):
    """How far each thing may go.

    Attributes:
        fall_c: a fall under air within `FALL_S` that no pad makes.
        moved_c: the other pad has gone on by so much while this one stood still.
        colder_c: below the air around the rig, under heat.
    """

    fall_c: float
    moved_c: float
    colder_c: float


class Course(NamedTuple):
    """What is remembered of one pad's readings.

    Attributes:
        still: how long they have stood still.
        other_c: what the other pad had when this one last changed, °C, or None.
        seen_c: the last one looked at, °C; None when nothing may be compared with it.
        high_c: what it fell from, °C, while it counts as fallen.
        found: what it was caught at.
        warm: the pad was seen warmer than the air in this run.
        base_c: the lowest it had between the runs, °C; the air's, where nothing
            else tells it.
    """

    still: Stillness = UNSEEN
    other_c: float | None = None
    seen_c: float | None = None
    high_c: float | None = None
    found: Evidence = Evidence.NONE
    warm: bool = False
    base_c: float | None = None


FRESH = Course()


def interrupted(course: Course) -> Course:
    """The course when nothing was read for a while: what comes next may be elsewhere.

    A reading that has gone bad and come back is one that somebody has worked on.

    Source:
        Own method.
    """
    if course.seen_c is None and course.found is Evidence.NONE:
        return course
    still = course.still._replace(value=None, still=0)
    return Course(still, warm=course.warm, base_c=course.base_c)


def look(
    figures: Figures, was: Course, view: View, index: int, value_c: float, heated_s: float
) -> Course:
    """One look at a believed reading.

    Args:
        figures: how far each thing may go.
        was: so far.
        view: the frame.
        index: of the pad in `rules.channels.PADS`.
        value_c: its reading, °C.
        heated_s: how long heat has been on without a break, s; -1 when it is off.

    Source:
        Own method.
    """
    other_c = view.now.pads[1 - index]
    still = stillness.follow(was.still, value_c)
    moved_from_c = was.other_c if still.still and was.other_c is not None else other_c
    high_c = _fallen_from(figures, was, view, index, value_c)
    air_c, base_c = _air_c(was, view), _base_c(was, view, value_c)
    found = Evidence.NONE
    if _crossed(figures, was, view, index, value_c, air_c, heated_s):
        found = Evidence.CROSSED
    elif high_c is not None:
        found = Evidence.FALLEN
    elif _frozen(figures, was, view, still, value_c, moved_from_c, other_c, heated_s):
        found = Evidence.FROZEN
    warmer = air_c is not None and value_c > air_c + WARM_C
    warm = view.phase not in BETWEEN_RUNS and (was.warm or warmer)
    return Course(still, moved_from_c, value_c, high_c, found, warm, base_c)


def _air_c(course: Course, view: View) -> float | None:
    """The air around the rig, °C; without its sensor not above what the pad had at rest."""
    air_c = view.good("ambient_c")
    if air_c is not None or course.base_c is None or view.phase not in COLD_NEVER:
        return air_c
    return min(course.base_c, AIR_C_MAX)


def _base_c(course: Course, view: View, value_c: float) -> float | None:
    if view.phase not in BETWEEN_RUNS:
        return course.base_c
    if course.base_c is None or course.warm:
        return value_c
    return min(course.base_c, value_c)


def _fallen_from(
    figures: Figures, was: Course, view: View, index: int, value_c: float
) -> float | None:
    """What a reading fell from, °C; None when it did not fall, or is right again."""
    trail = view.heating.trails[index]
    before_c = was.seen_c
    if was.high_c is None:
        if not _under_air(view):
            return None
        # A leap that was doubted is compared with what stood before it.
        top_c = value_c if before_c is None else before_c
        if view.phase is not Phase.INFLATION:
            # Pressed on cold rubber a pad may fall by some degrees a minute.
            top_c = max(top_c, _top(trail, value_c))
        return top_c if top_c - value_c >= figures.fall_c else None
    other_c = view.now.pads[1 - index]
    agrees = other_c is not None and abs(other_c - value_c) <= AGREES_C
    leapt = before_c is not None and value_c - before_c >= figures.fall_c / 2
    return None if agrees or leapt or view.phase in OFF_TYRE else was.high_c


def _under_air(view: View) -> bool:
    """Nobody unplugs a pad now, and it lies on rubber as warm as itself."""
    if view.phase not in PRESSED:
        return False
    air_kpa = view.now.higher_kpa
    return view.pressurised or (air_kpa is not None and air_kpa > NO_AIR_KPA)


def _top(trail: Trail, value_c: float) -> float:
    """The highest of the last `FALL_S`, °C."""
    top_c, oldest_ns = value_c, None
    for at_ns, item_c in reversed(trail):
        if oldest_ns is None:
            oldest_ns = at_ns - FALL_NS
        if at_ns < oldest_ns:
            break
        top_c = max(top_c, item_c)
    return top_c


def _crossed(
    figures: Figures,
    was: Course,
    view: View,
    index: int,
    value_c: float,
    air_c: float | None,
    heated_s: float,
) -> bool:
    if air_c is None:
        return was.found is Evidence.CROSSED
    if was.found is Evidence.CROSSED:
        return value_c < air_c - NO_LONGER_COLD_C
    if value_c > air_c - figures.colder_c:
        return False
    if was.warm:
        return True
    if heated_s < HEATED_S:
        return False
    changed = change(view.heating.trails[index], FALL_S)
    return changed is not None and changed[0] < RISES_C


def _frozen(
    figures: Figures,
    was: Course,
    view: View,
    still: Stillness,
    value_c: float,
    moved_from_c: float | None,
    other_c: float | None,
    heated_s: float,
) -> bool:
    if was.found is Evidence.FROZEN:
        # Heat that went off for this is no sign that it moves.
        return still.still > 0
    if heated_s < 0 and view.phase is not Phase.COOL_DOWN:
        return False
    if stillness.stands_still(still):
        return True
    if moved_from_c is None or other_c is None or still.still * LOOK_S < UNMOVED_S:
        return False
    if view.phase is Phase.HEAT_UP:
        must_rise = value_c < view.facts.set_c - BELOW_SET_C
        return must_rise and other_c - moved_from_c >= figures.moved_c
    return view.phase is Phase.COOL_DOWN and moved_from_c - other_c >= figures.moved_c
