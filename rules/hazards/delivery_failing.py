"""Messages to a phone, a mailbox or a broker wait, and are not taken.

Hazard:
    The horn at the rig sounds and the phones stay dark: who is called does not
    hear it.
Standard:
    A bag whose coupling seeps 45 kPa an hour is down to 150 kPa in some 79 min:
    gas law, invented bag. By then someone must know. Times are common practice, no
    source.
Limits:
    `after_s`, how long a destination must be behind; `clear_after_s`, how long it
    must have taken everything; `go_by_min`, by when someone should be at a rig that
    runs. How old a message may get is set at each destination.
Trips when:
    Never. It warns when the oldest message of a destination has been late for 30 s.
Clears when:
    For 30 s no destination has been behind.
When data is missing:
    No destination configured, as far as a frame can tell: not judged.
Not covered:
    The broker while it is away altogether: `broker.offline` tells that. A message
    taken by a gateway and lost behind it: only a person who answers proves that a
    phone rang.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.lasting import WELL, Lasting, follow
from rules.view import View

BROKER = "mqtt"
BROKER_TAG = "broker.offline"
# Between runs nobody needs to be called before the morning.
IDLE_S = 12 * 3600.0


class Limits(BaseModel):
    """Limits of `delivery.failing`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=30.0, ge=0, le=3600)
    clear_after_s: float = Field(default=30.0, ge=0, le=600)
    go_by_min: float = Field(default=60.0, gt=0, le=240)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        behind: a destination that takes nothing.
        dest: which, last.
    """

    behind: Lasting = WELL
    dest: str = ""


REST = Memory()

ROW = Row(
    tag="delivery.failing",
    title="messages do not get through",
    consequence="who is called does not hear it",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Stay near: phones are not told.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("the modem or its contract", "the gateway or the mail server", "the network"),
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
    health = view.frame.health
    dest = health.delivery_failing
    if not dest and memory.behind is WELL:
        return REST, NOT_JUDGED if health.broker_ok is None else CLEAR
    told_already = dest == BROKER and BROKER_TAG in view.standing
    behind = follow(
        memory.behind,
        view,
        wrong=bool(dest) and not told_already,
        after_s=limits.after_s,
        clear_after_s=limits.clear_after_s,
    )
    if behind is WELL:
        memory = REST
    elif behind is not memory.behind or (dest and dest != memory.dest):
        memory = Memory(behind, dest or memory.dest)
    if behind.standing.level is Level.CLEAR:
        return memory, CLEAR
    go_by_s = limits.go_by_min * 60 if view.run_open else IDLE_S
    said = f"{memory.dest[:20]}: messages wait and are not taken"
    return memory, Finding(Level.WARN, said, go_by_s=go_by_s)
