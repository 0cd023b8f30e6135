"""Nobody has said when heat is to end.

Hazard:
    The repair is cured by guess: too little, and it fails on the road; too long,
    and the rubber reverts. Nothing takes heat away in the night.
Standard:
    The compound's data sheet says the time at temperature: common practice, no
    source. The times here are common practice, no source.
Limits:
    `warn_after_h`, `trip_after_h` of heat since heat-up began; `chirps_min`, how
    long the horn asks.
Trips when:
    Heat has been on for 8 h and no hold time is stated: heat is withdrawn. Asks
    once when heat-up begins, and warns after 3 h 30 min, when a common compound has
    most of what it bears.
Clears when:
    A hold time is stated, or heat has been off for 10 min, longer than a
    thermostat rests. After a trip the time
    begins again from 0: somebody reset it at the rig. A press at the rig ends the
    asking and the chirp of the warning.
When data is missing:
    Where no signal tells whether heat is on, it counts as on.
Not covered:
    A time that is stated and wrong. How far the rubber is cured; that needs the
    cure estimate.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import duration
from rules.heat_time import NO_HEAT, HeatTime, heat_counted
from rules.phases import Phase
from rules.view import View

HEATING = frozenset({Phase.HEAT_UP, Phase.CURE})
S_PER_H = 3600.0


class Limits(BaseModel):
    """Limits of `run.time_not_set`; what each is for stands above."""

    model_config = STRICT

    warn_after_h: float = Field(default=3.5, gt=0, le=24)
    trip_after_h: float = Field(default=8.0, gt=0, le=24)
    chirps_min: float = Field(default=15.0, ge=1, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_h", "trip_after_h")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        heat: time with heat on since heat-up began.
        since_s: heat time at which the asking or the warning began, s.
        heard: someone has pressed at the rig since.
        level: warning or trip that stands, or clear.
    """

    heat: HeatTime = NO_HEAT
    since_s: float = 0.0
    heard: bool = False
    level: Level = Level.CLEAR


REST = Memory()

ROW = Row(
    tag="run.time_not_set",
    title="no hold time set",
    consequence="the repair is cured by guess; no one ends the heat",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Say when heat ends, or end it.",
    trip_do="KEEP AIR ON. Let it cool under air.",
    warn_urgency=Urgency.GO_BY,
    causes=(
        "the data sheet's time was not put into the rig's facts",
        "an old configuration, without hold_min",
    ),
    time_available="a compound bears about 5 h in all; heat goes off after 8",
    rescue="Look up the data sheet.",
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
    if view.facts.hold_min is not None:
        return REST, CLEAR
    heating = view.phase in HEATING
    if not view.run_open or (not heating and memory.heat == NO_HEAT):
        return REST, NOT_JUDGED
    on = heating and view.heated is not False
    heat = heat_counted(memory.heat, view, on=on)
    total_s = heat.total_s(view.now_ns)
    level = Level.CLEAR if heat.off else _demand(limits, total_s)
    if memory.level is Level.TRIP and level is Level.CLEAR:
        return REST, CLEAR
    memory = _asked(memory, view, heat, level, total_s)
    return memory, _told(limits, memory, view, total_s)


def _demand(limits: Limits, total_s: float) -> Level:
    if total_s >= limits.trip_after_h * S_PER_H:
        return Level.TRIP
    return Level.WARN if total_s >= limits.warn_after_h * S_PER_H else Level.CLEAR


def _asked(memory: Memory, view: View, heat: HeatTime, level: Level, total_s: float) -> Memory:
    since_s, heard = memory.since_s, memory.heard or (view.someone_here and memory != REST)
    if level > memory.level:
        since_s, heard = total_s, False
    elif level < memory.level:
        heard = True
    after = Memory(heat, since_s, heard, level)
    return memory if after == memory else after


def _told(limits: Limits, memory: Memory, view: View, total_s: float) -> Finding:
    level = memory.level
    calls = not memory.heard and total_s - memory.since_s < limits.chirps_min * 60
    if level is Level.CLEAR:
        # Asked once: who pressed, or was called for a while, knows.
        if not calls or view.phase not in HEATING:
            return CLEAR
        said = "no hold time set: say when heat is to end"
        return Finding(Level.PROMPT, said, Horn.COME_WHEN_YOU_CAN)
    said = f"no hold time set, heat on for {duration(total_s // 60 * 60)}"
    if level is Level.TRIP:
        return Finding(level, said)
    go_by_s = max(0.0, limits.trip_after_h * S_PER_H - total_s)
    return Finding(level, said, None if calls else Horn.SILENT, go_by_s=go_by_s)
