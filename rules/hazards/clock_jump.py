"""The computer's wall clock was set, forward or back.

Hazard:
    Whoever goes by that clock, man or machine, ends the hold too soon or too late,
    and times in the record do not fit those before.
Standard:
    Times on the record are UTC; 2 s: what a computer that is synchronised by
    network time never moves at once, common practice, no source.
Limits:
    `jump_s`, how far the clock must move between two frames against time since
    the computer's start; `stands_min`, how long it is told.
Trips when:
    Never. It warns when the wall clock has moved by 2 s or more against the time
    since the computer's start. Nothing here goes by the wall clock: hold, alarms
    and forecasts count time since the start.
Clears when:
    10 min after the last jump, or sooner by a press at the rig.
When data is missing:
    Across a restart of the computer there is nothing to compare with, and it
    starts afresh. A clock that becomes synchronised while no run is open was set
    right, and says nothing.
Not covered:
    A clock that was wrong all along; one that is not synchronised is told in the
    messages themselves.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, Finding, Priority, Row, Urgency
from rules.hazards.common import duration
from rules.view import View

# A clock that is led, not set, moves by less than this in a frame; it is followed.
LED_NS = NS_PER_S // 5


class Limits(BaseModel):
    """Limits of `clock.jump`; what each is for stands above."""

    model_config = STRICT

    jump_s: float = Field(default=2.0, ge=1, le=3600)
    stands_min: float = Field(default=10.0, gt=0, le=1440)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        boot_id: of the computer's start that `offset_ns` belongs to.
        offset_ns: wall time less time since the start, ns.
        trusted: the clock was synchronised.
        jumped_ns: process time of the last jump that is still told, ns, or None.
        moved_s: how far it went, s.
    """

    boot_id: str = ""
    offset_ns: int = 0
    trusted: bool = True
    jumped_ns: int | None = None
    moved_s: float = 0.0


ROW = Row(
    tag="clock.jump",
    title="the clock was set",
    consequence="the hold is ended, or drawn out, by a clock that is wrong",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Go by the hold time, not the clock.",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    causes=("network time came back after a while", "somebody set it", "a flat clock battery"),
    time_available="4 min: what a pad takes to 120 C if heat is taken away by that clock",
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
    frame = view.frame
    moved_ns = frame.wall_ns - frame.t_ns - memory.offset_ns
    steady = -LED_NS < moved_ns < LED_NS and frame.boot_id == memory.boot_id
    if steady and memory.jumped_ns is None and frame.wall_trusted is memory.trusted:
        return memory, CLEAR
    memory = _after(limits, memory, view, moved_ns)
    if memory.jumped_ns is None:
        return memory, CLEAR
    way = "forward" if memory.moved_s > 0 else "back"
    return memory, Finding(Level.WARN, f"clock moved {way} {duration(abs(memory.moved_s))}")


def _after(limits: Limits, memory: Memory, view: View, moved_ns: int) -> Memory:
    frame = view.frame
    offset_ns = frame.wall_ns - frame.t_ns
    jumped_ns, moved_s = memory.jumped_ns, memory.moved_s
    set_right = frame.wall_trusted and not memory.trusted and not view.run_open
    if frame.boot_id != memory.boot_id:
        jumped_ns = None
    elif abs(moved_ns) >= limits.jump_s * NS_PER_S and not set_right:
        jumped_ns, moved_s = view.now_ns, moved_ns / NS_PER_S
    elif jumped_ns is not None:
        told_s = (view.now_ns - jumped_ns) / NS_PER_S
        if view.someone_here or told_s >= limits.stands_min * 60:
            jumped_ns = None
    return Memory(frame.boot_id, offset_ns, frame.wall_trusted, jumped_ns, moved_s)
