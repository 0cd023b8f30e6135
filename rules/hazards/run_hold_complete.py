"""The hold is complete; the repair now cools under air.

Hazard:
    The end of a hold looks like nothing: heat goes off and the pads stay hot for
    an hour. Who does not know opens it hot, keeps waiting, or on a watched rig
    leaves the heat on. The table of hazards had no word for the moment a repairer
    waits for most.
Standard:
    Pressure is held until the repair has cooled: common practice, no source.
Limits:
    `chirps_min`, how long the horn chirps when nobody comes.
Trips when:
    Never: the planned end takes heat away without a latch. Asks someone to the
    rig when the hold time is complete, with the amber lamp and a chirp.
Clears when:
    Someone presses a button at the rig; the repair is let down. Nobody need come:
    after 30 min the chirp stops, and the lamp stays on.
When data is missing:
    The hold clock says what it counted; no hold time stated: not judged.
Not covered:
    Whether the rubber itself is cured, and when it may be opened.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import lasted_s
from rules.phases import Phase
from rules.view import View

WAITING = frozenset({Phase.HEAT_UP, Phase.CURE, Phase.COOL_DOWN})


class Limits(BaseModel):
    """Limits of `run.hold_complete`; what each is for stands above."""

    model_config = STRICT

    chirps_min: float = Field(default=30.0, ge=1, le=240)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        since_ns: process time at which the hold was found complete, ns, or None.
        heard: someone has pressed at the rig since.
    """

    since_ns: int | None = None
    heard: bool = False


REST = Memory()

ROW = Row(
    tag="run.hold_complete",
    title="the hold is complete",
    consequence="the repair is opened hot, or left heated for too long",
    priority=Priority.LOW,
    warn_do="",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    causes=("the hold time is complete, as planned",),
    time_available="none is needed with a permit; on a watched rig 15 min until it is overdone",
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
    if not view.hold_over or not view.run_open:
        return REST, CLEAR if view.run_open else NOT_JUDGED
    if memory.heard or view.phase not in WAITING:
        return memory, CLEAR
    if memory.since_ns is None:
        memory = Memory(view.now_ns)
    elif view.someone_here:
        return Memory(memory.since_ns, heard=True), CLEAR
    chirps = lasted_s(view, memory.since_ns) < limits.chirps_min * 60
    horn = Horn.COME_WHEN_YOU_CAN if chirps else Horn.SILENT
    return memory, Finding(Level.PROMPT, _said(view), horn)


def _said(view: View) -> str:
    hold_min = view.facts.hold_min
    held = "hold" if hold_min is None else f"hold of {hold_min:g} min"
    if view.watch_only:
        return f"{held} complete: SWITCH HEAT OFF, KEEP AIR ON"
    return f"{held} complete, heat off, KEEP AIR ON until cool"
