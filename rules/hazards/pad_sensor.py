"""A pad's temperature cannot be believed.

Hazard:
    A broken or shorted sensor leaves the pad running blind: nobody sees it run
    away, and the record cannot say how the repair was cured.
Standard:
    Failure told apart from a process value as in NAMUR NE 107. The figures are
    common practice, no source.
Limits:
    `warn_after_s`, `trip_after_s`; `low_c` and `high_c`, the span a pad can
    truly have; `clear_after_s`, how long it must read well again; `cycle_s`,
    how long a thermostat may rest between two calls for heat.
Trips when:
    A pad has been open, shorted, out of range, doubtful or missing for 10 s
    while heat is on or may be on. Warns after 2 s. A loose connection that
    comes and goes counts as one fault until it has read well for 5 s. Without
    heat, and in cool-down and let-down, it warns and never trips. On a rig that
    is only watched, heat may be on in an open run from preheat to the hold,
    unless the heat signal shows that it has been off for 10 min.
Clears when:
    The pad has read well for 5 s.
When data is missing:
    An empty cell in a trace counts as a fault. No answer from the module is
    `link.stale`'s alone: here nothing changes meanwhile. A pad unplugged on
    purpose, with no air in the bags, is no fault.
Not covered:
    A sensor that is frozen, jumps, is connected the wrong way round or has
    slipped off its pad: later rules.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.frame import LINK_REASONS, Quality, Reading, Reason
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import lasted_s, title_of
from rules.phases import Phase
from rules.view import View

COOLING = frozenset({Phase.COOL_DOWN, Phase.RELEASE})
HEATING = frozenset({Phase.PREHEAT, Phase.INFLATION, Phase.HEAT_UP, Phase.CURE})

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
    trip_after_s: float = Field(default=10.0, gt=0, le=600)
    low_c: float = Field(default=-30.0, ge=-100, le=0)
    high_c: float = Field(default=200.0, ge=150, le=400)
    clear_after_s: float = Field(default=5.0, ge=0, le=600)
    cycle_s: float = Field(default=600.0, ge=0, le=3600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_s", "trip_after_s")
        return self


@dataclass(frozen=True, slots=True)
class PadMemory:
    """What is remembered of one pad.

    Attributes:
        fault_ns: process time at which the fault began, ns; None when sound.
        bad_ns: process time of the last bad reading, ns.
        level: what stands.
    """

    fault_ns: int | None = None
    bad_ns: int = 0
    level: Level = Level.CLEAR


SOUND = PadMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        pads: in the order of `rules.channels.PADS`.
        heat_ns: process time at which heat was last on, ns; kept on rigs that
            are only watched.
    """

    pads: tuple[PadMemory, PadMemory] = (SOUND, SOUND)
    heat_ns: int | None = None


REST = Memory()

ROW = Row(
    tag="pad.sensor",
    title="a pad's sensor cannot be believed",
    consequence="the pad runs blind and may run away",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Check sensor and plug.",
    trip_do="KEEP AIR ON. Mend the sensor, reset.",
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
    readings = (view.reading(PADS[0]), view.reading(PADS[1]))
    if readings == (None, None):
        return REST, NOT_JUDGED
    heat_ns = view.now_ns if view.watch_only and view.heated else memory.heat_ns
    heat = _under_heat(limits, view, heat_ns)
    pads = (
        _follow(limits, memory.pads[0], view, PADS[0], readings[0], under_heat=heat),
        _follow(limits, memory.pads[1], view, PADS[1], readings[1], under_heat=heat),
    )
    if (pads, heat_ns) != (memory.pads, memory.heat_ns):
        memory = Memory(pads, heat_ns)
    level = max(pads[0].level, pads[1].level)
    if level is Level.CLEAR:
        silent = all(item is None or _unanswered(item) for item in readings)
        return memory, NOT_JUDGED if silent else CLEAR
    said = ", ".join(
        _said(limits, view, name, pad)
        for name, pad in zip(PADS, pads, strict=True)
        if pad.level is level
    )
    return memory, Finding(level, said)


def _follow(
    limits: Limits,
    was: PadMemory,
    view: View,
    name: str,
    reading: Reading | None,
    *,
    under_heat: bool,
) -> PadMemory:
    if reading is None or name in view.unplugged:
        return SOUND
    if _unanswered(reading):
        return was
    if not _fault(limits, reading):
        return _sound(limits, was, view)
    fault_ns = was.fault_ns
    if fault_ns is None or view.gap_s > 0:
        fault_ns = view.now_ns
    demand, lasted = Level.CLEAR, lasted_s(view, fault_ns)
    if lasted >= limits.trip_after_s and under_heat:
        demand = Level.TRIP
    elif lasted >= limits.warn_after_s:
        demand = Level.WARN
    return PadMemory(fault_ns, view.now_ns, max(was.level, demand))


def _unanswered(reading: Reading) -> bool:
    return reading.quality is not Quality.GOOD and reading.reason in LINK_REASONS


def _sound(limits: Limits, was: PadMemory, view: View) -> PadMemory:
    """A good reading ends the fault only when good ones have gone on for long enough."""
    if was.fault_ns is None:
        return was
    return SOUND if lasted_s(view, was.bad_ns) >= limits.clear_after_s else was


def _fault(limits: Limits, reading: Reading) -> str:
    """What is wrong with a reading, in words; empty when nothing is."""
    value = reading.value
    if reading.quality is not Quality.GOOD:
        return WORDS.get(reading.reason, "reading doubtful")
    if value is None:
        return WORDS[Reason.MISSING]
    if not limits.low_c <= value <= limits.high_c:
        return f"reads {value:.0f} C, not {limits.low_c:g} to {limits.high_c:g}"
    return ""


def _under_heat(limits: Limits, view: View, heat_ns: int | None) -> bool:
    if view.phase in COOLING:
        return False
    heated = view.heated
    if heated or not view.watch_only:
        return heated is True
    if not (view.run_open and view.phase in HEATING):
        return False
    # A thermostat that rests between two calls is no end of heat.
    return heated is None or 0 <= lasted_s(view, heat_ns) <= limits.cycle_s


def _said(limits: Limits, view: View, name: str, pad: PadMemory) -> str:
    reading = view.reading(name)
    fault = _fault(limits, reading) if reading is not None else ""
    for_s = lasted_s(view, pad.fault_ns)
    return f"{title_of(name)} {fault or 'sensor comes and goes'} for {for_s:.0f} s"
