"""A pad's temperature cannot be believed.

Hazard:
    A broken, slipped or frozen sensor leaves the pad running blind: nobody sees it
    run away, and the record cannot say how the repair was cured.
Standard:
    Failure told apart from a process value as in NAMUR NE 107. The figures are
    common practice, no source.
Limits:
    `warn_after_s`, `trip_after_s`; `low_c` and `high_c`, the span a pad can
    truly have; `clear_after_s`, how long it must read well again; `cycle_s`,
    how long a thermostat may rest between two calls for heat; `jump_after_s`, how
    long a reading may jump (`rules.trust`) before it is told; `frozen_trip_s`, how
    much longer one that stands still may be told only; `fall_c`, within a minute
    under air, more than a pad pressed on rubber can cool; `moved_c`, how far the
    other pad has gone on; `colder_c`, below the air while heated; `offset_c`
    between both pads after `cold_h` without heat.
Trips when:
    A pad has been open, shorted, out of range, doubtful or missing for 10 s
    while heat is on or may be on; warns after 2 s. A loose connection that
    comes and goes counts as one fault until it has read well for 5 s. Jumping: told
    after 8 s, trips at 10 s. Fallen by 15 C within a minute under air (slipped out,
    or wires crossed), or colder than the air under heat without rising (wires
    crossed): told at once, trips at 10 s. Standing still to the last digit though it
    used to flicker, or though it must move as the other pad does: told, trips 60 s
    later. Without heat, and in cool-down and let-down, it warns and never trips.
    On a rig that is only watched, heat may be on in an open run from preheat to the
    hold, unless the heat signal shows that it has been off for 10 min. Prompts, no
    more, when both pads have been unheated for 4 h and still differ by over 3 C.
Clears when:
    The pad has read well for 5 s. One that fell: when it stands with the other pad
    or leaps back, or has been seen unplugged or open, as when someone mended it.
When data is missing:
    An empty cell in a trace counts as a fault. No answer from the module is
    `link.stale`'s alone: here nothing changes meanwhile. A pad unplugged on
    purpose, with no air in the bags, is no fault. Without the air's temperature
    that of the pad at rest stands in, until cool-down; one pad alone is not compared with another.
Not covered:
    A sensor that never sat in its pad, and one that drifts slowly: `pad.not_heating`
    and `pad.mismatch`. One that stands still and never flickered, in the hold.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import LINK_REASONS, Quality, Reading, Reason
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import began_ns, duration, lasted_s, title_of
from rules.heating import LOOK_NS, LOOK_S
from rules.losses import LOSSES, Lost
from rules.pad_evidence import FRESH, Course, Evidence, Figures, interrupted, look
from rules.phases import BETWEEN_RUNS, Phase
from rules.view import View

TRIPS = frozenset(phase for phase in Phase if LOSSES[Lost.PAD, phase].heat_after)
HEATING = frozenset(phase for phase in Phase if LOSSES[Lost.PAD, phase].expects_heat)
INNER, OUTER = PADS
JUMPS = "jumps"
DEADBAND_C = 1.0

WORDS = {
    Reason.OPEN_CIRCUIT: "open circuit",
    Reason.SHORT_CIRCUIT: "short circuit",
    Reason.BELOW_RANGE: "reads below its range",
    Reason.ABOVE_RANGE: "reads above its range",
    Reason.NOT_A_NUMBER: "gives no number",
    Reason.MISSING: "reading missing",
    Reason.COLD_JUNCTION: "temperature of its terminals unknown",
    Reason.FAILURE: "instrument says it has failed",
    Reason.CHECK_FUNCTION: "instrument is being checked",
    Reason.OUT_OF_SPECIFICATION: "instrument says out of specification",
}


class Limits(BaseModel):
    """Limits of `pad.sensor`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=2.0, ge=0, le=600)
    jump_after_s: float = Field(default=8.0, ge=0, le=600)
    trip_after_s: float = Field(default=10.0, gt=0, le=600)
    frozen_trip_s: float = Field(default=60.0, gt=0, le=600)
    low_c: float = Field(default=-30.0, ge=-100, le=0)
    high_c: float = Field(default=200.0, ge=150, le=400)
    clear_after_s: float = Field(default=5.0, ge=0, le=600)
    cycle_s: float = Field(default=600.0, ge=0, le=3600)
    fall_c: float = Field(default=15.0, ge=5, le=100)
    moved_c: float = Field(default=5.0, ge=2, le=50)
    colder_c: float = Field(default=5.0, ge=2, le=50)
    offset_c: float = Field(default=3.0, gt=0, le=50)
    cold_h: float = Field(default=4.0, ge=1, le=72)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_s", "trip_after_s")
        must_rise(self, "warn_after_s", "jump_after_s", "trip_after_s")
        return self


@dataclass(frozen=True, slots=True)
class PadMemory:
    """What is remembered of one pad.

    Attributes:
        fault_ns: process time at which the fault began, ns; None when sound.
        bad_ns: process time of the last bad reading, ns.
        level: what stands.
        course: its readings as looked at every 10 s.
    """

    fault_ns: int | None = None
    bad_ns: int = 0
    level: Level = Level.CLEAR
    course: Course = FRESH


SOUND = PadMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        pads: in the order of `rules.channels.PADS`.
        heat_ns: process time at which heat was last on, ns; kept on rigs that
            are only watched.
        heated_ns: since when heat has been on without a break, ns, or None.
        cold_ns: since when it has been off, ns, or None.
        look_ns: when the readings are looked at again, ns.
        calm: no pad has a fault, so that until then only a bad reading counts.
        apart_c: how far the pads are apart though both are cold, °C; 0: not told.
    """

    pads: tuple[PadMemory, PadMemory] = (SOUND, SOUND)
    heat_ns: int | None = None
    heated_ns: int | None = None
    cold_ns: int | None = None
    look_ns: int = 0
    calm: bool = True
    apart_c: float = 0.0


ROW = Row(
    tag="pad.sensor",
    title="a pad's sensor cannot be believed",
    consequence="the pad runs blind and may run away",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check sensor and plug.",
    trip_do="KEEP AIR ON. Mend the sensor, reset.",
    told_with=("pad.not_heating",),
    causes=(
        "plug or lead pulled, wet or crushed",
        "thermocouple slipped out of the pad",
        "wires crossed after a repair",
        "input module failing",
    ),
    time_available="5 min or more: a runaway unseen goes from 140 to 160 C in 5 min",
    rescue="Repair safe while air stays.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge both pads' sensors in one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    inner_c, outer_c = view.now.pads
    if (
        memory.calm
        and view.now_ns < memory.look_ns
        and inner_c is not None
        and outer_c is not None
        and limits.low_c <= inner_c <= limits.high_c
        and limits.low_c <= outer_c <= limits.high_c
        and not view.gap_s
    ):
        return memory, CLEAR
    readings = (view.reading(INNER), view.reading(OUTER))
    if readings == (None, None):
        return memory, NOT_JUDGED
    memory = _followed(limits, memory, view, readings)
    level = max(memory.pads[0].level, memory.pads[1].level)
    if level is not Level.CLEAR:
        return memory, Finding(level, _said(limits, memory, view, level))
    if memory.apart_c:
        said = f"cold pads differ by {memory.apart_c:.0f} C: have their sensors checked"
        return memory, Finding(Level.PROMPT, said, Horn.SILENT)
    if inner_c is not None or outer_c is not None:
        return memory, CLEAR
    silent = all(item is None or _unanswered(item) for item in readings)
    return memory, NOT_JUDGED if silent else CLEAR


def _followed(
    limits: Limits, was: Memory, view: View, readings: tuple[Reading | None, Reading | None]
) -> Memory:
    """All that is remembered after a frame that had to be looked at."""
    looks = view.now_ns >= was.look_ns or view.gap_s > 0
    heat_ns = view.now_ns if view.watch_only and view.heated else was.heat_ns
    heat = _under_heat(limits, view, heat_ns)
    heated_ns = began_ns(view, was.heated_ns, holds=heat)
    cold_ns = began_ns(view, was.cold_ns, holds=not heat and not view.heated)
    inner, outer = was.pads
    pads = (
        _follow(limits, inner, view, 0, readings[0], heated_ns=heated_ns, looks=looks),
        _follow(limits, outer, view, 1, readings[1], heated_ns=heated_ns, looks=looks),
    )
    after = Memory(
        pads,
        heat_ns,
        heated_ns,
        cold_ns,
        (view.now_ns // LOOK_NS + 1) * LOOK_NS if looks else was.look_ns,
        calm=pads[0].fault_ns is None and pads[1].fault_ns is None,
        apart_c=_apart_c(limits, was.apart_c, view, cold_ns) if looks else was.apart_c,
    )
    return was if after == was else after


def _follow(
    limits: Limits,
    was: PadMemory,
    view: View,
    index: int,
    reading: Reading | None,
    *,
    heated_ns: int | None,
    looks: bool,
) -> PadMemory:
    if reading is None or PADS[index] in view.unplugged:
        return SOUND if was.course == FRESH else PadMemory(course=interrupted(was.course))
    if _unanswered(reading):
        course = interrupted(was.course)
        return was if course is was.course else replace(was, course=course)
    value_c, course = view.now.pads[index], was.course
    fault = _fault(limits, reading, value_c)
    if view.gap_s > 0 or fault not in ("", JUMPS):
        course = interrupted(course)
    if looks and not fault and value_c is not None:
        course = look(
            Figures(limits.fall_c, limits.moved_c, limits.colder_c),
            course,
            view,
            index,
            value_c,
            lasted_s(view, heated_ns),
        )
    if not fault and not course.found:
        return _sound(limits, was, course, view)
    fault_ns = was.fault_ns
    if fault_ns is None or view.gap_s > 0:
        fault_ns = view.now_ns
    warn_s, trip_s = _delays_s(limits, fault, course.found)
    demand, for_s = Level.CLEAR, lasted_s(view, fault_ns)
    if for_s >= trip_s and heated_ns is not None:
        demand = Level.TRIP
    elif for_s >= warn_s:
        demand = Level.WARN
    return PadMemory(fault_ns, view.now_ns, max(was.level, demand), course)


def _delays_s(limits: Limits, fault: str, found: Evidence) -> tuple[float, float]:
    """How long a fault lasts until it is told, and until heat goes, s."""
    if fault == JUMPS:
        return limits.jump_after_s, limits.trip_after_s
    if fault:
        return limits.warn_after_s, limits.trip_after_s
    # Its evidence has been gathered for a minute and more.
    return 0.0, limits.frozen_trip_s if found is Evidence.FROZEN else limits.trip_after_s


def _unanswered(reading: Reading) -> bool:
    return reading.quality is not Quality.GOOD and reading.reason in LINK_REASONS


def _sound(limits: Limits, was: PadMemory, course: Course, view: View) -> PadMemory:
    """A good reading ends the fault only when good ones have gone on for long enough."""
    if was.fault_ns is None or lasted_s(view, was.bad_ns) >= limits.clear_after_s:
        return was if was.fault_ns is None and course is was.course else PadMemory(course=course)
    return was if course is was.course else replace(was, course=course)


def _fault(limits: Limits, reading: Reading, value_c: float | None) -> str:
    """What is wrong with a reading, in words; empty when nothing is.

    Args:
        limits: of this hazard.
        reading: as it came.
        value_c: what is believed of it, °C.
    """
    value = reading.value
    if reading.quality is not Quality.GOOD:
        return WORDS.get(reading.reason, "reading doubtful")
    if value is None:
        return WORDS[Reason.MISSING]
    if not limits.low_c <= value <= limits.high_c:
        return f"reads {value:.0f} C, not {limits.low_c:g} to {limits.high_c:g}"
    return "" if value_c is not None else JUMPS


def _under_heat(limits: Limits, view: View, heat_ns: int | None) -> bool:
    if view.phase not in TRIPS:
        return False
    heated = view.heated
    if heated or not view.watch_only:
        return heated is True
    if not (view.run_open and view.phase in HEATING):
        return False
    # A thermostat that rests between two calls is no end of heat.
    return heated is None or 0 <= lasted_s(view, heat_ns) <= limits.cycle_s


def _apart_c(limits: Limits, was_c: float, view: View, cold_ns: int | None) -> float:
    """How far two cold pads are apart, °C; 0 when that is as it should be."""
    inner_c, outer_c = view.now.pads
    if inner_c is None or outer_c is None or view.phase not in BETWEEN_RUNS or view.unplugged:
        return 0.0
    if lasted_s(view, cold_ns) < limits.cold_h * 3600:
        return 0.0
    apart_c = abs(inner_c - outer_c)
    if was_c:
        return was_c if apart_c > limits.offset_c - DEADBAND_C else 0.0
    return apart_c if apart_c > limits.offset_c else 0.0


def _said(limits: Limits, memory: Memory, view: View, level: Level) -> str:
    return ", ".join(
        _told(limits, view, index, pad)
        for index, pad in enumerate(memory.pads)
        if pad.level is level
    )


def _told(limits: Limits, view: View, index: int, pad: PadMemory) -> str:
    title, reading = title_of(PADS[index]), view.reading(PADS[index])
    value_c, course = view.now.pads[index], pad.course
    if value_c is not None and course.found is Evidence.CROSSED:
        return f"{title} {value_c:.0f} C, below the air: wires crossed?"
    if value_c is not None and course.high_c is not None:
        return f"{title} fell {course.high_c - value_c:.0f} C in a minute: slipped out?"
    if value_c is not None and course.found is Evidence.FROZEN:
        still_s = course.still.still * LOOK_S
        return f"{title} stands at {value_c:.1f} C for {duration(still_s)}"
    fault = _fault(limits, reading, value_c) if reading is not None else ""
    return f"{title} {fault or 'sensor comes and goes'} for {lasted_s(view, pad.fault_ns):.0f} s"
