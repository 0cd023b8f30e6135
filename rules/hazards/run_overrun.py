"""Heat is still on though the hold is complete.

Hazard:
    The repair is overdone and its rubber reverts: it goes soft and sticky, and
    fails on the road.
Standard:
    The data sheet's time at temperature, common practice, no source; a hold bears
    about a tenth more, common practice, no source.
Limits:
    `prompt_after_min`, `warn_after_min`, `trip_after_min` of heat beyond the end
    of the hold; `cooled_c`, a fall of the hottest pad that counts as heat off
    where no signal tells of it.
Trips when:
    Heat has been on for 30 min beyond the end of the hold. Asks at 10 min, warns
    at 15. With a permit the hold ends by itself, so this speaks on rigs that are
    only watched, or whose heat will not go off; then `pad.heat_after_cutoff`
    spoke first.
Clears when:
    Heat has been off for 10 min, longer than a thermostat rests, or the run is let
    down.
When data is missing:
    Where no signal tells whether heat is on, it counts as on until every phase of
    heating is left or the hottest pad has fallen by 6 C. No hold time stated: not
    judged, see `run.time_not_set`.
Not covered:
    How far the rubber itself is overdone; that needs the cure estimate.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.heat_time import NO_HEAT, HeatTime, heat_counted
from rules.phases import Phase
from rules.view import View

HEATING = frozenset({Phase.HEAT_UP, Phase.CURE})
AFTER_HOLD = frozenset({Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN})


class Limits(BaseModel):
    """Limits of `run.overrun`; what each is for stands above."""

    model_config = STRICT

    prompt_after_min: float = Field(default=10.0, gt=0, le=240)
    warn_after_min: float = Field(default=15.0, gt=0, le=240)
    trip_after_min: float = Field(default=30.0, gt=0, le=480)
    cooled_c: float = Field(default=6.0, ge=3, le=20)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "prompt_after_min", "warn_after_min", "trip_after_min")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        heat: time with heat on since the end of the hold.
        peak_c: hottest pad since then, °C, or None.
    """

    heat: HeatTime = NO_HEAT
    peak_c: float | None = None


REST = Memory()

ROW = Row(
    tag="run.overrun",
    title="heat stays on after the hold",
    consequence="the rubber is overdone and reverts",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Switch heat off, let it cool.",
    trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.",
    warn_urgency=Urgency.GO_BY,
    warn_horn=Horn.COME_NOW,
    follows=("pad.heat_after_cutoff",),
    causes=(
        "nobody was there to switch off a rig that is only watched",
        "the permit relay is bridged or its contact sticks",
        "the contactor has welded",
    ),
    time_available="15 min beyond a hold of 150 harm little; reversion takes hours",
    rescue="Each minute overdoes it.",
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
    if not view.hold_over:
        return REST, CLEAR if view.run_open else NOT_JUDGED
    if not view.run_open or view.phase not in AFTER_HOLD:
        return REST, CLEAR
    peak_c = _peak_c(memory, view)
    on = _heat_on(limits, peak_c, view)
    heat = heat_counted(memory.heat, view, on=on)
    over_min = heat.total_s(view.now_ns) / 60
    level = Level.CLEAR if heat.off else _demand(limits, over_min)
    after = Memory(heat, peak_c)
    memory = memory if after == memory else after
    if level is Level.CLEAR:
        return memory, CLEAR
    said = f"heat on {over_min:.0f} min after the end of the hold"
    go_by_s = max(0.0, (limits.trip_after_min - over_min) * 60)
    horn = Horn.COME_WHEN_YOU_CAN if level is Level.PROMPT else None
    return memory, Finding(level, said, horn, go_by_s=go_by_s)


def _peak_c(memory: Memory, view: View) -> float | None:
    hottest_c = view.now.hottest_c
    if hottest_c is None or (memory.peak_c is not None and hottest_c <= memory.peak_c):
        return memory.peak_c
    return hottest_c


def _heat_on(limits: Limits, peak_c: float | None, view: View) -> bool:
    if view.heated is not None:
        return view.heated
    if view.phase not in HEATING:
        return False
    hottest_c = view.now.hottest_c
    return hottest_c is None or peak_c is None or peak_c - hottest_c < limits.cooled_c


def _demand(limits: Limits, over_min: float) -> Level:
    if over_min >= limits.trip_after_min:
        return Level.TRIP
    if over_min >= limits.warn_after_min:
        return Level.WARN
    return Level.PROMPT if over_min >= limits.prompt_after_min else Level.CLEAR
