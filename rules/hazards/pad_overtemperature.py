"""A pad is hotter than the thermostat should ever let it get.

Hazard:
    A thermostat that sticks, a sensor of the thermostat that has slipped off or
    a contactor that has welded lets a pad run away. Rubber at the face reverts,
    the bag and the leads burn. A small overshoot when the pads first come up to
    temperature is normal.
Standard:
    Warn at set + 8 C, trip at set + 15 C, stay below the hard-wired cut-out:
    common practice, no source. Deadband and off-delay as IEC 62682 / ISA-18.2
    ask for; 1 % of span and 60 s are from memory.
Limits:
    `warn_over_set_c` and `warn_after_s`; `trip_over_set_c`; `glitch_c_per_s`, a
    rise no pad can make; `settle_s`, how long an overshoot keeps the horn quiet;
    `rearm_below_set_c`, how far a pad must cool for that to count afresh;
    `deadband_c` and `clear_after_s` for the end.
Trips when:
    Either pad reads above set + 15 C, on the first good sample and in any phase.
    One sample that jumps faster than 3 C/s waits for the next to bear it out,
    unless the sample before it was already climbing like that. Warns above
    set + 8 C for 10 s: amber light only in the 20 min after that pad first
    reached its set point, with the horn later.
Clears when:
    The pad has been more than 2 C below the warning limit for 60 s.
When data is missing:
    Only good readings count, here as for the end of the alarm: what stands goes
    on standing. An uncertain, bad or impossible reading (above 400 C) is
    `pad.sensor`'s business, a dead link `link.stale`'s.
Not covered:
    The rubber between the pads; a hot spot away from the sensor; a sensor that
    has come off its pad and reads low.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, RigFacts, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    lasted_s,
    stand,
    title_of,
)
from rules.view import View


class Limits(BaseModel):
    """Limits of `pad.overtemperature`; what each is for stands above."""

    model_config = STRICT

    warn_over_set_c: float = Field(default=8.0, gt=0, le=50)
    warn_after_s: float = Field(default=10.0, ge=0, le=600)
    trip_over_set_c: float = Field(default=15.0, gt=0, le=50)
    glitch_c_per_s: float = Field(default=3.0, gt=0, le=50)
    settle_s: float = Field(default=1200.0, ge=0, le=3600)
    rearm_below_set_c: float = Field(default=40.0, ge=10, le=100)
    deadband_c: float = Field(default=2.0, ge=0, le=20)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_over_set_c", "trip_over_set_c")
        if self.deadband_c >= self.warn_over_set_c:
            raise ValueError(
                f"deadband_c = {self.deadband_c:g} is not below warn_over_set_c = "
                f"{self.warn_over_set_c:g}, so a pad at its set point could never end the alarm; "
                "lower deadband_c"
            )
        return self


@dataclass(frozen=True, slots=True)
class PadMemory:
    """What is remembered of one pad.

    Attributes:
        last_c: last good reading, °C.
        last_ns: its process time, ns.
        rise_c_per_s: how fast it was rising there, °C/s.
        waiting: it jumped over the trip limit and waits to be borne out.
        over_ns: since when it has been over the warning limit, ns.
        reached_ns: when it first reached its set point in this heating, ns.
        standing: what stands.
    """

    last_c: float | None = None
    last_ns: int = 0
    rise_c_per_s: float = 0.0
    waiting: bool = False
    over_ns: int | None = None
    reached_ns: int | None = None
    standing: Standing = QUIET


@dataclass(frozen=True, slots=True)
class Memory:
    """Both pads, in the order of `rules.channels.PADS`."""

    pads: tuple[PadMemory, PadMemory] = (PadMemory(), PadMemory())


ROW = Row(
    tag="pad.overtemperature",
    title="a pad is too hot",
    consequence="the rubber reverts, bag and leads burn",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Check the thermostat.",
    trip_do="KEEP AIR ON. Do not open.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge both pads of one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    values = (view.good(PADS[0]), view.good(PADS[1]))
    inner, outer = memory.pads
    pads = (
        _follow(limits, inner, view, PADS[0], values[0]),
        _follow(limits, outer, view, PADS[1], values[1]),
    )
    if pads != memory.pads:
        memory = Memory(pads)
    level = max(pads[0].standing.level, pads[1].standing.level)
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if values == (None, None) else CLEAR
    return memory, _finding(limits, view, pads, level)


def _follow(
    limits: Limits, was: PadMemory, view: View, name: str, value: float | None
) -> PadMemory:
    if value is None:
        return was if view.reading(name) is not None else PadMemory()
    set_c = view.facts.set_c
    rise_c_per_s, jumped = _rise(limits, was, view, value)
    in_trip = value > set_c + limits.trip_over_set_c
    tripped = in_trip and (was.waiting or not jumped)
    warn_c = set_c + limits.warn_over_set_c
    over_ns = began_ns(view, was.over_ns, holds=value > warn_c)
    demand = Level.CLEAR
    if tripped:
        demand = Level.TRIP
    elif lasted_s(view, over_ns) >= limits.warn_after_s:
        demand = Level.WARN
    return PadMemory(
        value,
        view.now_ns,
        rise_c_per_s,
        in_trip and not tripped,
        over_ns,
        _reached_ns(limits, was, view, value),
        stand(
            view,
            was.standing,
            demand,
            away=value < warn_c - limits.deadband_c,
            clear_after_s=limits.clear_after_s,
        ),
    )


def _rise(limits: Limits, was: PadMemory, view: View, value: float) -> tuple[float, bool]:
    """How fast the pad rises, °C/s, and whether that is a jump no pad can make."""
    if was.last_c is None or view.gap_s > 0:
        return 0.0, False
    # Over less than a second, noise alone is a steep slope.
    elapsed_s = max((view.now_ns - was.last_ns) / NS_PER_S, 1.0)
    rise_c_per_s = (value - was.last_c) / elapsed_s
    climbing = was.rise_c_per_s >= rise_c_per_s / 2
    return rise_c_per_s, rise_c_per_s > limits.glitch_c_per_s and not climbing


def _reached_ns(limits: Limits, was: PadMemory, view: View, value: float) -> int | None:
    if value < view.facts.set_c - limits.rearm_below_set_c:
        return None
    if was.reached_ns is None and value >= view.facts.set_c:
        return view.now_ns
    return was.reached_ns


def _settling(limits: Limits, view: View, pad: PadMemory) -> bool:
    if not view.history_known or pad.reached_ns is None:
        return False
    return lasted_s(view, pad.reached_ns) < limits.settle_s


def _finding(
    limits: Limits, view: View, pads: tuple[PadMemory, PadMemory], level: Level
) -> Finding:
    worst = [pair for pair in zip(PADS, pads, strict=True) if pair[1].standing.level is level]
    read = ", ".join(f"{title_of(name)} {pad.last_c or 0.0:.1f} C" for name, pad in worst)
    quiet = level is Level.WARN and all(_settling(limits, view, pad) for _, pad in worst)
    said = f"{read}, limit {_limit_c(limits, view.facts, level):g}"
    return Finding(level, said, Horn.SILENT if quiet else None)


def _limit_c(limits: Limits, facts: RigFacts, level: Level) -> float:
    over_c = limits.trip_over_set_c if level is Level.TRIP else limits.warn_over_set_c
    return facts.set_c + over_c
