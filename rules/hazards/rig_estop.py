"""The emergency stop is pressed, or its loop was open for a moment.

Hazard:
    Whoever pressed it saw something, and may need help. The pads cool, and the
    repair misses cure. A loop that chatters would bring heat back on whoever
    looks for the fault, again and again.
Standard:
    Emergency stop: ISO 13850; releasing it starts nothing. Unexpected start:
    IEC 60204-1. Times are common practice, no source.
Limits:
    `confirm_s`, how long the loop must be open; not waited for where heat went
    with it. `clear_after_s` for the end. `hot_c`, from which a pad is hot in any
    phase.
Trips when:
    Never: heat goes at once, without a latch, and a press of start brings it
    back once the stop is pulled out. It warns in heat-up, in the hold, in a
    cool-down that still heats, and in any phase of a run with a pad from 100 C
    (less in the mountains). Before that, with nothing hot, and with the rig left
    to cool, it is a prompt.
Clears when:
    The loop has been closed for 15 s and heat is allowed again, or is no longer
    wanted.
When data is missing:
    No signal of the stop fitted: not judged. One that cannot be read keeps what
    stood; `rig.switch_unread` tells of it.
Not covered:
    A stop pressed on a rig without an open run. Whether heat really went: that is
    `pad.heat_after_cutoff`. Why it was pressed.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import UNDER_AIR, hot
from rules.hazards.switched import ON, Off, follow
from rules.phases import BETWEEN_RUNS
from rules.view import View

SWITCH = "estop_ok"


class Limits(BaseModel):
    """Limits of `rig.estop`; what each is for stands above."""

    model_config = STRICT

    confirm_s: float = Field(default=1.0, ge=0, le=10)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    hot_c: float = Field(default=100.0, ge=50, le=100)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the emergency stop."""

    stop: Off = ON


REST = Memory()

ROW = Row(
    tag="rig.estop",
    title="the emergency stop is pressed",
    consequence="someone may need help; the pads cool and the repair misses cure",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Go and see who needs help.",
    trip_do="",
    warn_horn=Horn.COME_NOW,
    causes=("somebody pressed it", "a loose wire in its loop", "a knock"),
    time_available="none for whoever pressed it; some 4 min until the hold stops counting",
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
    if on is True and memory.stop is ON:
        return memory, CLEAR
    stop = follow(
        memory.stop,
        view,
        on=on,
        level=_level(limits, memory, view),
        confirm_s=limits.confirm_s,
        clear_after_s=limits.clear_after_s,
    )
    if stop is not memory.stop:
        memory = REST if stop is ON else Memory(stop)
    level = stop.standing.level
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if on is None else CLEAR
    gone = ", heat stays off until start is pressed" if stop.heat_gone else ""
    return memory, Finding(level, f"emergency stop{gone}")


def _level(limits: Limits, memory: Memory, view: View) -> Level:
    if not view.run_open or view.phase in BETWEEN_RUNS:
        return Level.CLEAR
    if view.left_to_cool and (view.hold_over or not memory.stop.heat_gone):
        return Level.PROMPT
    return Level.WARN if view.phase in UNDER_AIR or hot(view, limits.hot_c) else Level.PROMPT
