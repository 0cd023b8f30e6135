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
    `warn_over_set_c` and `warn_after_s`; `trip_over_set_c`; `settle_s`, how long
    an overshoot keeps the horn quiet;
    `rearm_below_set_c`, how far a pad must cool for that to count afresh;
    `deadband_c` and `clear_after_s` for the end. `near_over_set_c`,
    `runaway_after_s`, `runaway_rise_c` and `runaway_c_min`: what tells a runaway
    early; `spoils_over_set_c`, where rubber blows, for the time that is left.
Trips when:
    Either pad reads above set + 15 C, on the first believed sample and in any phase.
    A reading that jumps faster than any pad can is not believed until it has
    settled. Warns above set + 8 C for 10 s: amber light only in the 20 min after that pad first
    reached its set point, with the horn later. Warns early of a runaway: 90 s
    above set + 4 C, risen 1.3 C meanwhile and still rising, and no current says
    that the thermostat has let go; in those 20 min only when a current shows that
    it has not.
Clears when:
    The pad has been more than 2 C below the warning limit for 60 s.
When data is missing:
    Only good readings count, here as for the end of the alarm: what stands goes
    on standing. An uncertain, bad or impossible reading (above 400 C) is
    `pad.sensor`'s business, a dead link `link.stale`'s. With no current fitted a
    runaway is told from the pad's rise alone.
Not covered:
    The rubber between the pads; a hot spot away from the sensor; a sensor that
    has come off its pad and reads low; a thermostat turned up by hand looks like
    a runaway, and is told as one.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, RigFacts, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    lasted_s,
    stand,
    title_of,
)
from rules.heating import flows, rate_c_min
from rules.view import View


class Limits(BaseModel):
    """Limits of `pad.overtemperature`; what each is for stands above."""

    model_config = STRICT

    warn_over_set_c: float = Field(default=8.0, gt=0, le=50)
    warn_after_s: float = Field(default=10.0, ge=0, le=600)
    trip_over_set_c: float = Field(default=15.0, gt=0, le=50)
    settle_s: float = Field(default=1200.0, ge=0, le=3600)
    rearm_below_set_c: float = Field(default=40.0, ge=10, le=100)
    deadband_c: float = Field(default=2.0, ge=0, le=20)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)
    near_over_set_c: float = Field(default=4.0, gt=0, le=50)
    runaway_after_s: float = Field(default=90.0, ge=0, le=600)
    runaway_rise_c: float = Field(default=1.3, gt=0, le=10)
    runaway_c_min: float = Field(default=0.3, gt=0, le=5)
    spoils_over_set_c: float = Field(default=20.0, gt=0, le=50)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(
            self, "near_over_set_c", "warn_over_set_c", "trip_over_set_c", "spoils_over_set_c"
        )
        if self.deadband_c >= self.warn_over_set_c:
            raise ValueError(
                f"deadband_c = {self.deadband_c:g} is not below warn_over_set_c = "
                f"{self.warn_over_set_c:g}, so a pad at its set point could never end the alarm; "
                "lower deadband_c"
            )
        return self


@dataclass(frozen=True, slots=True)
class Over:
    """What is remembered of a pad while it is above what a thermostat's swing explains.

    Attributes:
        near_ns: since when it has been so, ns.
        near_c: what it read then, °C.
        warm_ns: since when it has been over the warning limit, ns.
    """

    near_ns: int
    near_c: float
    warm_ns: int | None


@dataclass(frozen=True, slots=True)
class PadMemory:
    """What is remembered of one pad.

    Attributes:
        over: while it is too warm.
        reached_ns: when it first reached its set point in this heating, ns.
        runaway: it was seen to run away.
        standing: what stands.
        read_c: its reading when that level came, °C.
        calm: it is not too warm, and nothing stands.
    """

    over: Over | None = None
    reached_ns: int | None = None
    runaway: bool = False
    standing: Standing = QUIET
    read_c: float = 0.0
    calm: bool = True


COLD = PadMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """Both pads, in the order of `rules.channels.PADS`."""

    pads: tuple[PadMemory, PadMemory] = (COLD, COLD)


ROW = Row(
    tag="pad.overtemperature",
    title="a pad is too hot",
    consequence="the rubber reverts, bag and leads burn",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Check the thermostat.",
    trip_do="KEEP AIR ON. Do not open. Find out why.",
    causes=(
        "thermostat stuck or its sensor off the pad",
        "thermostat turned up",
        "thermocouple or its terminal box reads high",
        "contactor welded, with a thermostat that does not let go",
    ),
    time_available="minutes: a pad needs some 5 min from its set point to where rubber blows",
    rescue="Saved if below 160 C.",
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
    inner_c, outer_c = view.now.pads
    was_inner, was_outer = memory.pads
    if was_inner.calm and was_outer.calm and inner_c is not None and outer_c is not None:
        # The way of nearly every frame of a cure: both within a thermostat's swing.
        set_c = view.facts.set_c
        low_c, near_c = set_c - limits.rearm_below_set_c, set_c + limits.near_over_set_c
        if (inner_c < set_c if was_inner.reached_ns is None else low_c <= inner_c <= near_c) and (
            outer_c < set_c if was_outer.reached_ns is None else low_c <= outer_c <= near_c
        ):
            return memory, CLEAR
    inner = _follow(limits, was_inner, view, 0, inner_c)
    outer = _follow(limits, was_outer, view, 1, outer_c)
    if inner is not was_inner or outer is not was_outer:
        memory = Memory((inner, outer))
    if inner.standing.level is Level.CLEAR and outer.standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if inner_c is None and outer_c is None else CLEAR
    return memory, _finding(limits, view, memory.pads)


def _follow(
    limits: Limits, was: PadMemory, view: View, index: int, value: float | None
) -> PadMemory:
    if value is None:
        return was if PADS[index] in view.frame.values else COLD
    over_c = value - view.facts.set_c
    reached_ns = was.reached_ns
    if over_c < 0:
        if over_c < -limits.rearm_below_set_c:
            reached_ns = None
    elif reached_ns is None:
        reached_ns = view.now_ns
    near = over_c > limits.near_over_set_c
    if not near and was.over is None and was.standing.level is Level.CLEAR:
        if reached_ns == was.reached_ns and was.calm:
            return was
        return replace(was, reached_ns=reached_ns, calm=True)
    return _judged(limits, replace(was, reached_ns=reached_ns), view, index, value, near=near)


def _judged(
    limits: Limits, was: PadMemory, view: View, index: int, value: float, *, near: bool
) -> PadMemory:
    """One more reading of a pad that is, or was, too warm."""
    over_c = value - view.facts.set_c
    over, demand, runaway = None, Level.CLEAR, was.runaway
    if near:
        over = _over(limits, was.over, view, value)
        tripped = over_c > limits.trip_over_set_c
        running = not tripped and _runs_away(limits, was, over, view, index, value)
        runaway = runaway or running
        if tripped:
            demand = Level.TRIP
        elif running or lasted_s(view, over.warm_ns) >= limits.warn_after_s:
            demand = Level.WARN
    away = over_c < limits.warn_over_set_c - limits.deadband_c and not (near and runaway)
    standing = stand(view, was.standing, demand, away=away, clear_after_s=limits.clear_after_s)
    rose = standing.level > was.standing.level
    return PadMemory(
        over,
        was.reached_ns,
        runaway and standing.level is not Level.CLEAR,
        standing,
        value if rose else was.read_c,
        over is None and standing.level is Level.CLEAR,
    )


def _over(limits: Limits, was: Over | None, view: View, value: float) -> Over:
    """What is remembered of a pad above a thermostat's swing, after one more reading."""
    warm = value > view.facts.set_c + limits.warn_over_set_c
    if was is None or view.gap_s > 0:
        return Over(view.now_ns, value, view.now_ns if warm else None)
    warm_ns = began_ns(view, was.warm_ns, holds=warm)
    return was if warm_ns == was.warm_ns else replace(was, warm_ns=warm_ns)


def _runs_away(
    limits: Limits, was: PadMemory, over: Over, view: View, index: int, value: float
) -> bool:
    """It goes on rising where its thermostat should long have let go."""
    if lasted_s(view, over.near_ns) < limits.runaway_after_s:
        return False
    if value - over.near_c < limits.runaway_rise_c:
        return False
    flowing = flows(view, index)
    if flowing is False or (
        flowing is None and (view.heated is False or _settling(limits, view, was))
    ):
        return False
    rate = rate_c_min(view.heating.trails[index], 60.0)
    return rate is not None and rate >= limits.runaway_c_min


def _settling(limits: Limits, view: View, pad: PadMemory) -> bool:
    if not view.history_known or pad.reached_ns is None:
        return False
    return lasted_s(view, pad.reached_ns) < limits.settle_s


def _finding(limits: Limits, view: View, pads: tuple[PadMemory, PadMemory]) -> Finding:
    level = max(pads[0].standing.level, pads[1].standing.level)
    worst = [index for index in (0, 1) if pads[index].standing.level is level]
    read = ", ".join(f"{title_of(PADS[index])} {pads[index].read_c:.1f} C" for index in worst)
    said = f"{read}, limit {_limit_c(limits, view.facts, level):g}"
    if any(pads[index].runaway for index in worst) and level is Level.WARN:
        said = f"{read} and still rising"
    quiet = level is Level.WARN and all(
        _settling(limits, view, pads[index]) and not pads[index].runaway for index in worst
    )
    left_s = _left_s(limits, view, worst)
    return Finding(level, said, Horn.SILENT if quiet else None, go_by_s=left_s, save_s=left_s)


def _left_s(limits: Limits, view: View, worst: list[int]) -> float | None:
    """How long until the hottest of these pads blows the rubber, s; None: it does not rise."""
    found = []
    for index in worst:
        value, rate = view.now.pads[index], rate_c_min(view.heating.trails[index], 60.0)
        if value is not None and rate is not None and rate > 0:
            to_go_c = view.facts.set_c + limits.spoils_over_set_c - value
            found.append(max(0.0, to_go_c / rate * 60.0))
    return min(found, default=None)


def _limit_c(limits: Limits, facts: RigFacts, level: Level) -> float:
    over_c = limits.trip_over_set_c if level is Level.TRIP else limits.warn_over_set_c
    return facts.set_c + over_c
