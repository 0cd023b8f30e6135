"""The heat permit relay is not where it was ordered to be.

Hazard:
    A relay that stays closed leaves the pads hot although heat was taken away;
    one that stays open cures nothing.
Standard:
    Read-back of a safety-related output is common practice, no source; so are
    the times. This is no certified safety function.
Limits:
    `after_s`, how long order and read-back may differ; `unread_after_s`, how
    long the read-back may fail; `clear_after_s`, how long they must agree.
Trips when:
    The relay reads back closed for 3 s although heat is not allowed. Warns when
    it reads back open for 3 s although heat is allowed, or cannot be read for
    10 s.
Clears when:
    Order and read-back have agreed for 3 s.
When data is missing:
    No relay, or no read-back fitted: not judged. A read-back that fails warns
    after 10 s; a trip goes on standing meanwhile.
Not covered:
    The contactor behind the relay, which may have welded while the relay reads
    back open: a later rule watches heat itself.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand
from rules.view import View

RELAY = "heat_permit"


class Limits(BaseModel):
    """Limits of `output.mismatch`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=3.0, gt=0, le=60)
    unread_after_s: float = Field(default=10.0, gt=0, le=600)
    clear_after_s: float = Field(default=3.0, ge=0, le=60)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        closed_ns: since when the relay has been closed against its order, ns.
        open_ns: since when it has been open against its order, ns.
        unread_ns: since when it could not be read, ns.
        standing: what stands.
    """

    closed_ns: int | None = None
    open_ns: int | None = None
    unread_ns: int | None = None
    standing: Standing = QUIET


REST = Memory()

ROW = Row(
    tag="output.mismatch",
    title="the heat relay does not follow",
    consequence="heat stays on although it was taken away",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Check the relay module.",
    trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.",
    trip_horn=Horn.COME_NOW,
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge the relay's read-back in one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    if RELAY not in view.frame.readback:
        return REST, NOT_JUDGED
    closed = view.frame.readback[RELAY]
    if closed is view.permit_granted and memory == REST:
        return memory, CLEAR
    granted = view.permit_granted
    closed_ns = began_ns(view, memory.closed_ns, holds=closed is True and not granted)
    open_ns = began_ns(view, memory.open_ns, holds=closed is False and granted)
    unread_ns = began_ns(view, memory.unread_ns, holds=closed is None)
    demand, said = _demand(limits, view, closed_ns, open_ns, unread_ns)
    standing = stand(
        view,
        memory.standing,
        demand,
        away=closed is granted,
        clear_after_s=limits.clear_after_s,
    )
    after = Memory(closed_ns, open_ns, unread_ns, standing)
    memory = memory if after == memory else after
    if standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if closed is None else CLEAR
    return memory, Finding(standing.level, said)


def _demand(
    limits: Limits, view: View, closed_ns: int | None, open_ns: int | None, unread_ns: int | None
) -> tuple[Level, str]:
    closed_s = lasted_s(view, closed_ns)
    if closed_s > limits.after_s:
        return Level.TRIP, f"relay still closed after {closed_s:.0f} s, heat will not go off"
    open_s = lasted_s(view, open_ns)
    if open_s > limits.after_s:
        return Level.WARN, f"relay still open after {open_s:.0f} s, heat will not come on"
    unread_s = lasted_s(view, unread_ns)
    if unread_s >= limits.unread_after_s:
        return Level.WARN, f"relay cannot be read back for {unread_s:.0f} s"
    return Level.CLEAR, "relay follows again"
