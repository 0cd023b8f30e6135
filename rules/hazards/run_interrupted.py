"""The run was not watched for a while.

Hazard:
    While power or the supervisor was away nobody watched pads and air; heat may
    have been off, and the cure is shorter than the clock says.
Standard:
    Heat does not come back by itself after a loss of power: IEC 60204-1,
    unexpected start. The times are common practice, no source.
Limits:
    `short_gap_s`, up to which heat may come back by itself; `short_stands_s`
    and `long_stands_s`, how long the warning stands.
Trips when:
    Never: the heat permit is withdrawn by the gap itself. Warns when frames
    were missing in an open run.
Clears when:
    After a gap of up to 60 s: after 60 s. After a longer one: when someone
    presses a button at the rig, or after 10 min. When the run ends.
When data is missing:
    That is what it tells. Outside a run it is not told.
Not covered:
    What happened in the gap. Look at the gauges before you press start.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, Finding, Priority, Row
from rules.hazards.common import duration, lasted_s
from rules.view import View


class Limits(BaseModel):
    """Limits of `run.interrupted`; what each is for stands above."""

    model_config = STRICT

    short_gap_s: float = Field(default=60.0, ge=0, le=600)
    short_stands_s: float = Field(default=60.0, ge=0, le=3600)
    long_stands_s: float = Field(default=600.0, ge=0, le=3600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        gap_s: length of the interruption that is being told, s; 0 when none.
        since_ns: process time of the frame after it, ns.
    """

    gap_s: float = 0.0
    since_ns: int = 0


REST = Memory()

ROW = Row(
    tag="run.interrupted",
    title="the run was interrupted",
    consequence="nobody watched; the cure may be short",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check the gauges.",
    trip_do="",
    causes=(
        "power was lost, or the supervisor's computer restarted",
        "the supervisor was stopped to change its configuration",
        "the computer was too busy, or its disk too slow",
    ),
    time_available="5 min: a thermostat that sticks in the gap takes that long to 160 C",
    rescue="Cure may be short.",
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
    if not view.run_open:
        return REST, CLEAR
    if view.gap_s > 0:
        # Two gaps close together are told as the longer one.
        memory = Memory(max(view.gap_s, memory.gap_s), view.now_ns)
    elif memory.gap_s <= 0 or _over(limits, memory, view):
        return REST, CLEAR
    return memory, Finding(Level.WARN, _said(limits, memory, view))


def _over(limits: Limits, memory: Memory, view: View) -> bool:
    for_s = lasted_s(view, memory.since_ns)
    if memory.gap_s <= limits.short_gap_s:
        return for_s >= limits.short_stands_s
    return view.someone_here or for_s >= limits.long_stands_s


def _said(limits: Limits, memory: Memory, view: View) -> str:
    said = f"no frames for {duration(memory.gap_s)}"
    if view.watch_only or memory.gap_s <= limits.short_gap_s:
        return said
    return f"{said}, heat off until start is pressed"
