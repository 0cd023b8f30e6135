"""The disk of the store is filling up.

Hazard:
    In some days the record of a cure cannot be written. Told while it can be put
    right at leisure: this program's table had only the disk that is full already.
Standard:
    A frame of 15 channels is 350 bytes and its row some 50 more: 35 MB a day and
    rig, so 500 MB are a fortnight. The margin is common practice, no source.
Limits:
    `low_mb`, the room from which down it is told; `after_s`, how long it must be
    that low; `clear_after_s` for the end, with a tenth more room than `low_mb`.
Trips when:
    Never. It warns when less than 500 MB have been left for 10 min.
Clears when:
    For 10 min there have been 550 MB or more, or the store fails altogether, which
    `store.failing` tells.
When data is missing:
    Room that is not known keeps what stood; without any figure it is not judged.
Not covered:
    What fills the disk.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.lasting import WELL, Lasting, follow
from rules.view import View

ENOUGH = 1.1


class Limits(BaseModel):
    """Limits of `store.filling`; what each is for stands above."""

    model_config = STRICT

    low_mb: float = Field(default=500.0, ge=10, le=1_000_000)
    after_s: float = Field(default=600.0, ge=0, le=3600)
    clear_after_s: float = Field(default=600.0, ge=0, le=3600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of a disk that fills up."""

    low: Lasting = WELL


REST = Memory()

ROW = Row(
    tag="store.filling",
    title="the disk is filling up",
    consequence="in some days no record can be written",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Make room on the computer's disk.",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    causes=("old records, exports or logs", "another program on this computer"),
    time_available="days; a rig writes some 35 MB a day",
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
    free_mb = view.frame.health.store_free_mb
    if not view.frame.health.store_ok or (free_mb is None and memory.low is WELL):
        return REST, NOT_JUDGED
    if memory.low is WELL and free_mb is not None and free_mb >= limits.low_mb:
        return memory, CLEAR
    low = follow(
        memory.low,
        view,
        wrong=_is_low(limits, free_mb),
        after_s=limits.after_s,
        clear_after_s=limits.clear_after_s,
    )
    if low is not memory.low:
        memory = Memory(low)
    if low.standing.level is Level.CLEAR:
        return memory, CLEAR
    left = "not known how much is left" if free_mb is None else f"{free_mb} MB left on the disk"
    return memory, Finding(Level.WARN, left)


def _is_low(limits: Limits, free_mb: int | None) -> bool | None:
    """Between the limit and a tenth more nothing changes."""
    if free_mb is None or limits.low_mb <= free_mb < ENOUGH * limits.low_mb:
        return None
    return free_mb < limits.low_mb
