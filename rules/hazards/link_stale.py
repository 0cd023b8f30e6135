"""A module or its line no longer answers: readings are old.

Hazard:
    What is shown and judged is the past; pads may run away and air may go
    unseen.
Standard:
    Warn at 5 s, trip at 15 s: common practice, no source.
Limits:
    `warn_after_s` and `trip_after_s`, stretched together so that the first is
    never under 2.5 frames; `clear_after_s`, how long all must answer again.
Trips when:
    A pad, a bag, the start button or the emergency stop has not answered for
    15 s while a run is open, heat is allowed or the bags are held. Any fitted
    channel, switches too, warns after 5 s; so do those four at rest. One alarm
    tells all channels.
Clears when:
    Every channel has answered for 10 s.
When data is missing:
    That is what it tells. A channel that never answered counts from the first
    frame in which it was missed, any channel from the end of a gap.
Not covered:
    A module that answers with old or made-up values.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS, PADS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S, Reading, Reason
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, duration, stand, title_of
from rules.view import View

DECIDES = frozenset({*PADS, *BAGS, "start_button", "estop_ok"})
NAMED_MAX = 2


class Limits(BaseModel):
    """Limits of `link.stale`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=5.0, gt=0, le=600)
    trip_after_s: float = Field(default=15.0, gt=0, le=600)
    clear_after_s: float = Field(default=10.0, ge=0, le=600)

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
        standing: what stands.
    """

    watching_ns: int | None = None
    never_ns: int | None = None
    standing: Standing = QUIET


ROW = Row(
    tag="link.stale",
    title="a module does not answer",
    consequence="pads and air are not seen",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Check cable and power.",
    trip_do="KEEP AIR ON. Check cable and power.",
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
    readings = view.frame.values
    if not readings:
        return memory, NOT_JUDGED
    stretch = max(1.0, 2.5 * view.facts.frame_period_s / limits.warn_after_s)
    warn_s, trip_s = limits.warn_after_s * stretch, limits.trip_after_s * stretch
    oldest_ns = view.frame.t_ns - int(warn_s * NS_PER_S)
    suspects = [
        name
        for name, reading in readings.items()
        if reading.at_ns < oldest_ns or reading.reason is Reason.NEVER_READ
    ]
    never = any(readings[name].reason is Reason.NEVER_READ for name in suspects)
    memory = _watched(memory, view, never=never)
    if not suspects and memory.standing is QUIET:
        return memory, CLEAR
    ages = {name: _age_s(memory, view, readings[name]) for name in suspects}
    stale = {name: age_s for name, age_s in ages.items() if age_s > warn_s}
    demand = Level.WARN if stale else Level.CLEAR
    matters = view.run_open or view.permit_granted or view.pressurised
    if matters and any(age_s > trip_s and name in DECIDES for name, age_s in stale.items()):
        demand = Level.TRIP
    standing = stand(
        view, memory.standing, demand, away=not stale, clear_after_s=limits.clear_after_s
    )
    if standing is not memory.standing:
        memory = Memory(memory.watching_ns, memory.never_ns, standing)
    if standing.level is Level.CLEAR:
        return memory, CLEAR
    return memory, Finding(standing.level, _said(stale))


def _watched(memory: Memory, view: View, *, never: bool) -> Memory:
    watching_ns = view.now_ns if view.gap_s > 0 else memory.watching_ns
    if watching_ns is None:
        watching_ns = view.now_ns
    never_ns = None
    if never:
        never_ns = view.now_ns if memory.never_ns is None else memory.never_ns
    if (watching_ns, never_ns) == (memory.watching_ns, memory.never_ns):
        return memory
    return Memory(watching_ns, never_ns, memory.standing)


def _age_s(memory: Memory, view: View, reading: Reading) -> float:
    """How long we have missed an answer, s; nothing is missed before we watched."""
    watched_s = (view.now_ns - (memory.watching_ns or 0)) / NS_PER_S
    if reading.reason is Reason.NEVER_READ:
        never_ns = view.now_ns if memory.never_ns is None else memory.never_ns
        return min(watched_s, (view.now_ns - never_ns) / NS_PER_S)
    return min(watched_s, (view.frame.t_ns - reading.at_ns) / NS_PER_S)


def _said(stale: dict[str, float]) -> str:
    if not stale:
        return "answers again"
    # What decides about heat and air is named first.
    names = sorted(stale, key=lambda name: name not in DECIDES)
    named = ", ".join(title_of(name) for name in names[:NAMED_MAX])
    more = f" and {len(names) - NAMED_MAX} more" if len(names) > NAMED_MAX else ""
    return f"no answer from {named}{more} for {duration(max(stale.values()))}"
