"""A module or its line no longer answers: readings are old.

Hazard:
    What is shown and judged is the past; pads may run away and air may go
    unseen.
Standard:
    Warn at 5 s, trip at 15 s: common practice, no source.
Limits:
    `warn_after_s`, `trip_after_s` and `missed_s`, how much may be missed by a line
    that answers in between; stretched together so that the first is never under 2.5
    frames. `clear_after_s`, how long all must answer again.
Trips when:
    A pad, a bag, the start button or the emergency stop has not answered for
    15 s while a run is open, heat is allowed or the bags are held. Any fitted
    channel, switches too, warns after 5 s (looked at every 5 s); so do those six
    at rest. One alarm tells all channels. A line that chatters, with answers in
    between that are no answer, garbled or refused, warns once 15 s have been missed;
    five good seconds make up for one that was missed.
Clears when:
    Every channel has answered for 10 s, and what was missed has been made up for.
When data is missing:
    That is what it tells. A channel that never answered counts from the first
    frame in which it was missed, any channel from the end of a gap.
Not covered:
    A module that answers with old or made-up values, unless they stand still:
    `pad.sensor`, `bag.sensor`.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS, PADS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.frame import LINK_REASONS, NS_PER_S, Reading, Reason
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, duration, stand, title_of
from rules.view import View

DECIDES = (*PADS, *BAGS, "start_button", "estop_ok")
NAMED_MAX = 2
# The channels that do not decide about heat and air are looked at so often.
SCAN_NS = 5 * NS_PER_S
MAKES_UP = 0.2
MISSED_MAX = 4 / 3


class Limits(BaseModel):
    """Limits of `link.stale`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=5.0, gt=0, le=600)
    trip_after_s: float = Field(default=15.0, gt=0, le=600)
    clear_after_s: float = Field(default=10.0, ge=0, le=600)
    missed_s: float = Field(default=15.0, gt=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_s", "trip_after_s")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        watching_ns: process time of the first frame, or of the end of the last
            gap, ns; None before the first.
        never_ns: since when some channel has never answered, ns.
        missed_s: what was missed and not made up for, s.
        standing: what stands.
    """

    watching_ns: int | None = None
    never_ns: int | None = None
    missed_s: float = 0.0
    standing: Standing = QUIET


ROW = Row(
    tag="link.stale",
    title="a module does not answer",
    consequence="pads and air are not seen",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check cable and power.",
    trip_do="KEEP AIR ON. Check cable and power.",
    causes=(
        "cable or plug loose, crushed or wet",
        "module or adapter without power",
        "two modules with one address, bus not ended",
    ),
    time_available="5 min or more: a runaway unseen goes from 140 to 160 C in 5 min",
    rescue="Repair safe while air stays.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge the age of every fitted channel in one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    frame = view.frame
    readings = frame.values
    warn_s, stretched_s = limits.warn_after_s, 2.5 * view.facts.frame_period_s
    warn_s = max(warn_s, stretched_s)
    oldest_ns = frame.t_ns - int(warn_s * NS_PER_S)
    calm = memory.standing.level is Level.CLEAR and not memory.missed_s
    if (
        calm
        and memory.never_ns is None
        and memory.watching_ns is not None
        and not view.gap_s
        and _all_answer(view, oldest_ns)
    ):
        return memory, CLEAR if readings else NOT_JUDGED
    if not readings:
        return memory, NOT_JUDGED
    suspects = [
        name
        for name, reading in readings.items()
        if reading.at_ns < oldest_ns or reading.reason is Reason.NEVER_READ
    ]
    never = any(readings[name].reason is Reason.NEVER_READ for name in suspects)
    memory = _watched(memory, view, never=never)
    missed_s = limits.missed_s * warn_s / limits.warn_after_s
    memory = _counted(memory, view, missed_s * MISSED_MAX)
    if not suspects and calm and not memory.missed_s:
        return memory, CLEAR
    return _judged(limits, memory, view, suspects, warn_s)


def _all_answer(view: View, oldest_ns: int) -> bool:
    """Those that decide, or all when they are due for a look, have answered of late."""
    readings = view.frame.values
    if view.now_ns % SCAN_NS < view.dt_s * NS_PER_S:
        for reading in readings.values():
            if reading.value is None or reading.at_ns < oldest_ns:
                return False
        return True
    for name in DECIDES:
        one = readings.get(name)
        if one is not None and (one.value is None or one.at_ns < oldest_ns):
            return False
    return True


def _judged(
    limits: Limits, memory: Memory, view: View, suspects: list[str], warn_s: float
) -> tuple[Memory, Finding]:
    readings = view.frame.values
    ages = {name: _age_s(memory, view, readings[name]) for name in suspects}
    stale = {name: age_s for name, age_s in ages.items() if age_s > warn_s}
    stretch = warn_s / limits.warn_after_s
    chatters = memory.missed_s >= limits.missed_s * stretch
    demand = Level.WARN if stale or chatters else Level.CLEAR
    matters = view.run_open or view.permit_granted or view.pressurised
    trip_s = limits.trip_after_s * stretch
    if matters and any(age_s > trip_s and name in DECIDES for name, age_s in stale.items()):
        demand = Level.TRIP
    if stale and memory.missed_s:
        # Told as silent; only what comes and goes in between counts as chatter.
        memory = replace(memory, missed_s=0.0)
    away = not stale and not memory.missed_s
    standing = stand(view, memory.standing, demand, away=away, clear_after_s=limits.clear_after_s)
    if standing is not memory.standing:
        memory = replace(memory, standing=standing)
    if standing.level is Level.CLEAR:
        return memory, CLEAR
    return memory, Finding(standing.level, _said(view, memory, stale))


def _watched(memory: Memory, view: View, *, never: bool) -> Memory:
    watching_ns = view.now_ns if view.gap_s > 0 else memory.watching_ns
    if watching_ns is None:
        watching_ns = view.now_ns
    never_ns = None
    if never:
        never_ns = view.now_ns if memory.never_ns is None else memory.never_ns
    if (watching_ns, never_ns) == (memory.watching_ns, memory.never_ns):
        return memory
    return replace(memory, watching_ns=watching_ns, never_ns=never_ns)


def _counted(memory: Memory, view: View, most_s: float) -> Memory:
    """What was missed of the six that decide, and what good answers have made up for."""
    if view.gap_s > 0:
        return memory if memory.missed_s == 0 else replace(memory, missed_s=0.0)
    missed = _missed(view)
    if not missed and memory.missed_s == 0:
        return memory
    by_s = view.dt_s if missed else -MAKES_UP * view.dt_s
    missed_s = min(most_s, max(0.0, memory.missed_s + by_s))
    return replace(memory, missed_s=missed_s)


def _missed(view: View) -> list[str]:
    """Those of the six that did not answer in this frame."""
    readings = view.frame.values
    return [name for name in DECIDES if name in readings and readings[name].reason in LINK_REASONS]


def _age_s(memory: Memory, view: View, reading: Reading) -> float:
    """How long we have missed an answer, s; nothing is missed before we watched."""
    watched_s = (view.now_ns - (memory.watching_ns or 0)) / NS_PER_S
    if reading.reason is Reason.NEVER_READ:
        never_ns = view.now_ns if memory.never_ns is None else memory.never_ns
        return min(watched_s, (view.now_ns - never_ns) / NS_PER_S)
    return min(watched_s, (view.frame.t_ns - reading.at_ns) / NS_PER_S)


def _said(view: View, memory: Memory, stale: dict[str, float]) -> str:
    if not stale:
        missed = _missed(view)
        if memory.missed_s == 0 or not missed:
            return "answers again" if memory.missed_s == 0 else "answers only now and then"
        return f"{title_of(missed[0])} answers only now and then"
    # What decides about heat and air is named first.
    names = sorted(stale, key=lambda name: name not in DECIDES)
    named = ", ".join(title_of(name) for name in names[:NAMED_MAX])
    more = f" and {len(names) - NAMED_MAX} more" if len(names) > NAMED_MAX else ""
    return f"no answer from {named}{more} for {duration(max(stale.values()))}"
