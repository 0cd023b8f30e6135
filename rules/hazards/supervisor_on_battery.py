"""The supervising computer runs from its battery.

Hazard:
    Once the battery is flat nobody looks, and the permit relay opens: the repair
    misses cure, and whatever else goes wrong goes unseen.
Standard:
    12 V and 7 Ah are 84 Wh, of which a small computer with its modules takes some
    20 W: 4 h new, 30 min once the battery is old (from memory). How long it lasts
    is not known here, so the least is told.
Limits:
    `confirm_s`, how long its own supply must be off; `clear_after_s`, how long it
    must be back; `lasts_min`, what is told as time left.
Trips when:
    Never. It warns when the supply has been off for 10 s, in any phase: someone
    must be there within 10 min.
Clears when:
    The supply has been back for 60 s.
When data is missing:
    No such signal fitted: not judged. One that cannot be read keeps what stood.
Not covered:
    How full the battery is, and whether there is one.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import lasted_s
from rules.hazards.lasting import WELL, Lasting, follow
from rules.view import View

SWITCH = "supervisor_power_ok"


class Limits(BaseModel):
    """Limits of `supervisor.on_battery`; what each is for stands above."""

    model_config = STRICT

    confirm_s: float = Field(default=10.0, ge=0, le=600)
    clear_after_s: float = Field(default=60.0, ge=0, le=600)
    lasts_min: float = Field(default=10.0, gt=0, le=600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the computer's own supply, gone."""

    gone: Lasting = WELL


REST = Memory()

ROW = Row(
    tag="supervisor.on_battery",
    title="the supervisor runs from its battery",
    consequence="nobody looks once the battery is flat, and heat goes off",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Bring the computer's supply back.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    follows=("mains.lost",),
    causes=("its plug or power unit", "the mains are gone", "a fuse"),
    time_available="not known; 4 h with a new battery, 30 min with an old one",
    rescue="Safe while battery lasts.",
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
    if on is True and memory.gone is WELL:
        return memory, CLEAR
    gone = follow(
        memory.gone,
        view,
        wrong=None if on is None else not on,
        after_s=limits.confirm_s,
        clear_after_s=limits.clear_after_s,
    )
    if gone is not memory.gone:
        memory = Memory(gone)
    if gone.standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if on is None else CLEAR
    left_s = max(0.0, limits.lasts_min * 60 - lasted_s(view, gone.since_ns))
    return memory, Finding(Level.WARN, "computer on its battery, time left unknown", go_by_s=left_s)
