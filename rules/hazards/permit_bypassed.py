"""Heat is on, and nobody was ever allowed to switch it on.

Hazard:
    A permit relay or a contactor that somebody has bridged, a contactor that has
    welded, or pads plugged in past the rig heat with nobody asked. All works well,
    until the first thing fails: then heat cannot be taken away.
Standard:
    Against unexpected start IEC 60204-1, from memory; the times are common
    practice, no source. This is no certified safety function.
Limits:
    `warn_after_s` and `trip_after_s`, how long heat must be seen; `rise_c_min`, what
    a pad never rises by unheated, for rigs on which only the pads tell; `cooled_c`
    and `clear_after_s` for the end.
Trips when:
    The permit has not been given in this run, yet a heater's current, the heat
    signal or a closed contactor has been seen for 15 s, or a pad has risen by more
    than 2 C/min over two minutes; pads on their way to the tyre are not looked at,
    for they may be laid on a warm one. Warns after 5 s; and until the run's end when
    heat was on already in the frame in which start was pressed.
Clears when:
    No heat has been seen for 60 s and the contactor is open, or the pads have cooled
    by 4 C; what was seen before the press of start ends with the run.
When data is missing:
    With no current, no heat signal, no contactor and no pad that can be read, it is
    not judged, and what stands goes on standing. No rate is taken across a gap.
Not covered:
    A bridge put in while heat is allowed: that shows when heat is next taken away,
    as `pad.heat_after_cutoff`. A thermostat that rests hides a bridge, unless the
    contactor is watched. On a rig that is only watched there is no permit to bypass.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand, title_of
from rules.heating import Pair, heat_seen, rate_c_min, surely_off
from rules.phases import Phase
from rules.view import View

GLANCE_S = 5.0
RISE_OVER_S = 120.0
ON_THE_WAY = frozenset({Phase.FITTING, Phase.INFLATION})
LEADER = "pad.heat_after_cutoff"


class Limits(BaseModel):
    """Limits of `permit.bypassed`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=5.0, ge=0, le=60)
    trip_after_s: float = Field(default=15.0, gt=0, le=600)
    rise_c_min: float = Field(default=2.0, gt=0, le=10)
    cooled_c: float = Field(default=4.0, gt=0, le=20)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_after_s", "trip_after_s")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        granted: heat was allowed in this run.
        seen_ns: since when heat has been seen without it, ns.
        then_c: what each pad read when it was last seen, °C, or None.
        standing: what stands.
        said: what was seen when that level came.
    """

    granted: bool = False
    seen_ns: int | None = None
    then_c: Pair = (None, None)
    standing: Standing = QUIET
    said: str = ""


NEVER = Memory()
GRANTED = Memory(granted=True)
BEFORE_START = Memory(
    granted=True, standing=Standing(Level.WARN), said="heat was on before start was pressed"
)

ROW = Row(
    tag="permit.bypassed",
    title="heat nobody has allowed",
    consequence="heat cannot be taken away when it must be",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Find what feeds the pads.",
    trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.",
    trip_horn=Horn.COME_NOW,
    follows=(LEADER,),
    causes=(
        "permit relay bridged or stuck closed",
        "contactor welded",
        "pads plugged in past the rig",
    ),
    time_available="20 min: pads forgotten on a bench, from cold, char it by then",
    rescue="Repair safe once heat is off.",
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
    if view.watch_only:
        return NEVER, NOT_JUDGED
    if view.permit_granted and not memory.granted:
        # The relay closes after this program has ordered it, never before: what was
        # on in the frame of the press came another way.
        early = memory.seen_ns is not None and view.gap_s == 0
        memory = BEFORE_START if early else GRANTED
    if memory.granted:
        return _granted(memory, view)
    idle = memory.standing.level is Level.CLEAR and memory.seen_ns is None
    if idle and (LEADER in view.standing or not (view.heated or view.due(GLANCE_S))):
        return memory, CLEAR
    return _look(limits, memory, view)


def _granted(memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Heat is, or was, allowed in this run: what goes on after is `pad.heat_after_cutoff`'s."""
    if not view.permit_granted and not view.run_open:
        return NEVER, NOT_JUDGED
    if memory.standing.level is not Level.CLEAR:
        return memory, Finding(memory.standing.level, memory.said)
    return memory, CLEAR if view.permit_granted else NOT_JUDGED


def _look(limits: Limits, was: Memory, view: View) -> tuple[Memory, Finding]:
    """Whether there is heat that nobody has allowed."""
    seen, risen = heat_seen(view), _risen(limits, view)
    told = seen or risen or ""
    seen_ns = began_ns(view, was.seen_ns, holds=bool(told))
    lasted = lasted_s(view, seen_ns)
    demand = Level.CLEAR
    if lasted >= limits.trip_after_s:
        demand = Level.TRIP
    elif lasted >= limits.warn_after_s:
        demand = Level.WARN
    away = not told and surely_off(view, was.then_c, limits.cooled_c)
    standing = stand(view, was.standing, demand, away=away, clear_after_s=limits.clear_after_s)
    said = was.said
    if standing.level > was.standing.level:
        said = f"{told}, and nobody has pressed start"
    then_c = view.now.pads if told else was.then_c
    if seen is None and risen is None and standing.level is Level.CLEAR:
        return was, NOT_JUDGED
    after = replace(was, seen_ns=seen_ns, then_c=then_c, standing=standing, said=said)
    if standing.level is Level.CLEAR:
        return (NEVER if seen_ns is None else after), CLEAR
    return after, Finding(standing.level, said)


def _risen(limits: Limits, view: View) -> str | None:
    """That a pad rises as no unheated pad does, in words; None: it cannot be told."""
    if view.phase in ON_THE_WAY:
        return None
    known = None
    for name, trail in zip(PADS, view.heating.trails, strict=True):
        rate = rate_c_min(trail, RISE_OVER_S)
        if rate is None:
            continue
        known = ""
        if rate > limits.rise_c_min:
            return f"{title_of(name)} rises {rate:.1f} C/min"
    return known
