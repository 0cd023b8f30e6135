"""The message broker cannot be reached.

Hazard:
    Whoever is not at the rig hears nothing more of it. Horn and lamps go on.
Standard:
    A bag whose coupling seeps 45 kPa an hour is down to 150 kPa in some 79 min:
    gas law, invented bag. By then someone must know that no phone rings. Times are
    common practice, no source.
Limits:
    `after_s`, how long it must be away; `clear_after_s`, how long it must have been
    back; `go_by_min`, by when someone should be at a rig that runs.
Trips when:
    Never. It warns after 60 s: that is longer than a broker takes to restart.
Clears when:
    The broker has answered for 30 s. What could not be sent waits in the store and
    goes out then, in order.
When data is missing:
    No broker configured, or one only just tried: not judged.
Not covered:
    A broker that answers and passes nothing on; a phone that is off.
    `delivery.failing` tells of messages that wait. With the broker away this alarm
    itself reaches no phone: horn, lamp and page show it.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.lasting import WELL, Lasting, follow
from rules.view import View

# Between runs nobody needs to be called before the morning.
IDLE_S = 12 * 3600.0


class Limits(BaseModel):
    """Limits of `broker.offline`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=60.0, ge=10, le=3600)
    clear_after_s: float = Field(default=30.0, ge=0, le=600)
    go_by_min: float = Field(default=60.0, gt=0, le=240)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of a broker that does not answer."""

    away: Lasting = WELL


REST = Memory()

ROW = Row(
    tag="broker.offline",
    title="the broker is away, no phone is told",
    consequence="who is called does not hear it",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Stay near: phones are not told.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("the network or its power", "the broker's computer", "a password that was changed"),
    time_available="an hour: what a seeping bag takes to 150 kPa",
    rescue="Repair safe so far.",
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
    ok = view.frame.health.broker_ok
    if ok and memory.away is WELL:
        return memory, CLEAR
    if ok is None:
        return REST, NOT_JUDGED
    away = follow(
        memory.away,
        view,
        wrong=not ok,
        after_s=limits.after_s,
        clear_after_s=limits.clear_after_s,
    )
    if away is not memory.away:
        memory = Memory(away)
    if away.standing.level is Level.CLEAR:
        return memory, CLEAR
    go_by_s = limits.go_by_min * 60 if view.run_open else IDLE_S
    return memory, Finding(Level.WARN, "broker does not answer", go_by_s=go_by_s)
