"""The record cannot be written.

Hazard:
    The cure goes on and leaves no record: a good repair cannot be told from a bad
    one. Heat cannot be started again while it lasts.
Standard:
    A hold can spare some 15 min at 140 C (common practice, no source); with more
    than that missing the record no longer shows a whole cure.
Limits:
    `after_s`, how long the store must refuse; `clear_after_s`, how long it must
    have taken everything again; `spare_min`, what a record can lack.
Trips when:
    Never: heat goes on, for the repair needs it. It warns when the store has
    refused, or lived on the room kept back for alarms, for 30 s.
Clears when:
    For 30 s everything has been written and the room kept back is there again.
When data is missing:
    Every frame says how the store is; there is nothing to miss.
Not covered:
    What is wrong with the disk: the log tells. Alarms go out all the same, marked
    as not stored, and frames wait in memory until it is full.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, Finding, Priority, Row, Urgency
from rules.hazards.lasting import WELL, Lasting, follow
from rules.view import View


class Limits(BaseModel):
    """Limits of `store.failing`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=30.0, ge=0, le=600)
    clear_after_s: float = Field(default=30.0, ge=0, le=600)
    spare_min: float = Field(default=15.0, gt=0, le=240)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of a store that refuses."""

    refusing: Lasting = WELL


ROW = Row(
    tag="store.failing",
    title="the record cannot be written",
    consequence="a good repair cannot be told from a bad one",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Make room on the computer's disk.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("the disk is full", "the disk or card is worn out", "the store's folder is gone"),
    time_available="15 min of a hold may be missing; heat cannot be started meanwhile",
    rescue="Repair safe; its record not.",
)

# Between runs nothing is lost that a repair needs.
IDLE_S = 12 * 3600.0


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    ok = view.frame.health.store_ok
    if ok and memory.refusing is WELL:
        return memory, CLEAR
    refusing = follow(
        memory.refusing,
        view,
        wrong=not ok,
        after_s=limits.after_s,
        clear_after_s=limits.clear_after_s,
    )
    if refusing is not memory.refusing:
        memory = Memory(refusing)
    if refusing.standing.level is Level.CLEAR:
        return memory, CLEAR
    free_mb = view.frame.health.store_free_mb
    left = "" if free_mb is None else f", {free_mb} MB left on the disk"
    go_by_s = limits.spare_min * 60 - limits.after_s if view.run_open else IDLE_S
    return memory, Finding(Level.WARN, f"not recorded{left}", go_by_s=go_by_s)
