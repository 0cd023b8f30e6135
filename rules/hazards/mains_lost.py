"""The mains are gone, or were for a moment.

Hazard:
    The pads cool and the repair misses cure; with the mains the compressor goes
    too, and a relieving regulator may let the air back out. When the mains come
    back, heat must not come back by itself on whoever looks for the fault.
Standard:
    Unexpected start: IEC 60204-1. How fast a pad cools: 18 kJ/K, 685 W into cold
    rubber at 140 C (Carslaw & Jaeger) and 5 W/K into the air, invented figures of
    our pretend plant. Times are common practice, no source.
Limits:
    `confirm_s`, how long the mains must be off; not waited for where heat went
    with them. `clear_after_s` for the end. `cools_c_per_min` and `cure_c` for the
    time by which heat must be back.
Trips when:
    Never: heat goes at once, without a latch, and a press of start brings it
    back. It warns in heat-up, in the hold and in a cool-down that still heats,
    also after a blink that took heat away. In preheat, mounting, air-up and
    let-down it is a prompt.
Clears when:
    The mains have been back for 15 s and heat is allowed again, or is no longer
    wanted.
When data is missing:
    No mains signal fitted: not judged. One that cannot be read keeps what stood.
Not covered:
    A rig without an open run, and one left to cool with its heat off and its air
    in, but not because of the mains: there they may be off. Pressure is watched on.
    Low voltage that the signal does not show.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT, AirMode
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import UNDER_AIR
from rules.hazards.switched import ON, Off, follow
from rules.phases import BETWEEN_RUNS, Phase
from rules.view import View

SWITCH = "mains_ok"


class Limits(BaseModel):
    """Limits of `mains.lost`; what each is for stands above."""

    model_config = STRICT

    confirm_s: float = Field(default=2.0, ge=0, le=30)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    cools_c_per_min: float = Field(default=4.5, gt=0, le=20)
    cure_c: float = Field(default=120.0, ge=60, le=180)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the mains."""

    mains: Off = ON


REST = Memory()

ROW = Row(
    tag="mains.lost",
    title="the mains are gone",
    consequence="the pads cool and the repair misses cure; the compressor stands",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON: close the lock-off valves.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("a breaker or fuse", "the site's supply", "a plug pulled", "the mains signal's wire"),
    time_available="some 4 min until pads at 140 C fall to 120 C, where the hold stops counting",
    rescue="Saveable while air stays.",
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
    if view.frame.values.get(SWITCH) is None:
        return REST, NOT_JUDGED
    on = view.is_on(SWITCH)
    if on is True and memory.mains is ON:
        return memory, CLEAR
    mains = follow(
        memory.mains,
        view,
        on=on,
        level=_level(memory, view),
        confirm_s=limits.confirm_s,
        clear_after_s=limits.clear_after_s,
    )
    if mains is not memory.mains:
        memory = REST if mains is ON else Memory(mains)
    level = mains.standing.level
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if on is None else CLEAR
    return memory, Finding(level, _said(view, mains), go_by_s=_cold_in_s(limits, view))


def _level(memory: Memory, view: View) -> Level:
    if not view.run_open or view.phase in BETWEEN_RUNS or view.phase is Phase.ABORTED:
        return Level.CLEAR
    if view.left_to_cool and (view.hold_over or not memory.mains.heat_gone):
        return Level.CLEAR
    return Level.WARN if view.phase in UNDER_AIR else Level.PROMPT


def _said(view: View, mains: Off) -> str:
    if not mains.heat_gone:
        return "mains lost"
    if view.facts.air_mode is AirMode.LOCKED_OFF:
        return "mains lost, heat stays off until start is pressed"
    return "mains, compressor lost; heat off until start is pressed"


def _cold_in_s(limits: Limits, view: View) -> float | None:
    coldest_c = view.now.coldest_c
    if coldest_c is None or view.phase is Phase.COOL_DOWN:
        return None
    return max(0.0, coldest_c - limits.cure_c) / limits.cools_c_per_min * 60.0
