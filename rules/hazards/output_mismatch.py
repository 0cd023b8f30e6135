"""The heat permit relay, or the contactor behind it, is not where it was ordered to be.

Hazard:
    A relay that stays closed leaves the pads hot although heat was taken away; one
    that stays open, or a contactor that does not pull in, cures nothing. A contactor
    that chatters burns its contacts, and ends by welding them.
Standard:
    Read-back of a safety-related output is common practice, no source; so are
    the times. This is no certified safety function.
Limits:
    `after_s`, how long order and read-back may differ, and `contactor_after_s`, how
    long the contactor may be open behind a closed relay; `unread_after_s`, how long
    the read-back may fail; `clear_after_s`, how long they must agree. `jump_share`,
    of its current, by which a heater's changes from look to look only if contacts
    make and break; `jumps`, how many such looks more than a fifth of the steady ones.
Trips when:
    The relay reads back closed for 3 s although heat is not allowed. Warns when
    it reads back open for 3 s although heat is allowed, or cannot be read for
    10 s; when the contactor is open though its relay is closed, for three looks
    10 s apart; or when the contactor or the heaters' currents come and go in four looks.
Clears when:
    Order and read-back have agreed for 3 s, and the contactor has been steady for
    some three minutes of heat.
When data is missing:
    No relay, or no read-back fitted: not judged. A read-back that fails warns
    after 10 s; a trip goes on standing meanwhile. Without a contactor signal and
    currents the contactor is not judged.
Not covered:
    A contactor that has welded while the relay reads back open: heat itself is
    watched by `pad.heat_after_cutoff` and `permit.bypassed`.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

from pydantic import BaseModel, Field

from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand
from rules.heating import CURRENTS, FLOWS_A, LOOK_S, Pair
from rules.view import View

RELAY = "heat_permit"
STEADY_COUNTS = 0.2


class Limits(BaseModel):
    """Limits of `output.mismatch`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=3.0, gt=0, le=60)
    unread_after_s: float = Field(default=10.0, gt=0, le=600)
    clear_after_s: float = Field(default=3.0, ge=0, le=60)
    contactor_after_s: float = Field(default=15.0, gt=0, le=300)
    jump_share: float = Field(default=0.08, gt=0, lt=1)
    jumps: float = Field(default=4.0, gt=0, le=60)


class Contactor(NamedTuple):
    """What is remembered of the contactor.

    Attributes:
        closed: at the last look; None: not known.
        open_ns: since when it has been open though heat is allowed, ns.
        amperes: of both heaters at the last look, while they were on, A.
        jumps: looks at which something came or went, less a fifth of the steady ones.
    """

    closed: bool | None = None
    open_ns: int | None = None
    amperes: Pair = (None, None)
    jumps: float = 0.0


STILL = Contactor()


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        closed_ns: since when the relay has been closed against its order, ns.
        open_ns: since when it has been open against its order, ns.
        unread_ns: since when it could not be read, ns.
        contactor: behind it.
        standing: what stands.
        said: what was seen when that level came.
    """

    closed_ns: int | None = None
    open_ns: int | None = None
    unread_ns: int | None = None
    contactor: Contactor = STILL
    standing: Standing = QUIET
    said: str = ""


REST = Memory()

ROW = Row(
    tag="output.mismatch",
    title="relay or contactor does not follow",
    consequence="heat stays on although it was taken away, or none comes",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Check relay and contactor.",
    trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.",
    trip_horn=Horn.COME_NOW,
    follows=("link.stale",),
    causes=(
        "relay module without its supply, or a wire off",
        "relay contact stuck or bridged",
        "contactor coil or contacts worn",
    ),
    time_available="5 min or more: pads without heat fall below 120 C in 5 to 7 min",
    rescue="Repair can still be saved.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge the relay's read-back in one frame, and now and then the contactor.

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
    granted = view.permit_granted
    look = view.due(LOOK_S)
    agrees = (
        closed is granted
        and memory.open_ns is None
        and memory.closed_ns is None
        and memory.unread_ns is None
    )
    if agrees and not look and memory.standing.level is Level.CLEAR:
        return memory, CLEAR
    contactor = memory.contactor
    if look:
        contactor = _look(limits, contactor, view, heat=granted and closed is True)
        steady = contactor.open_ns is None and contactor.jumps == 0.0
        if agrees and steady and memory.standing.level is Level.CLEAR:
            return (memory if contactor is memory.contactor else Memory(contactor=contactor)), CLEAR
    now = Memory(
        began_ns(view, memory.closed_ns, holds=closed is True and not granted),
        began_ns(view, memory.open_ns, holds=closed is False and granted),
        began_ns(view, memory.unread_ns, holds=closed is None),
        contactor,
        memory.standing,
        memory.said,
    )
    demand, said = _demand(limits, view, now)
    calm = contactor.open_ns is None and contactor.jumps <= 1.0
    standing = stand(
        view,
        memory.standing,
        demand,
        away=closed is granted and calm,
        clear_after_s=limits.clear_after_s,
    )
    if standing.level > memory.standing.level:
        now = replace(now, said=said)
    now = replace(now, standing=standing)
    memory = memory if now == memory else now
    if standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if closed is None else CLEAR
    return memory, Finding(standing.level, memory.said)


def _look(limits: Limits, was: Contactor, view: View, *, heat: bool) -> Contactor:
    """The contactor after one more look, while its relay calls it."""
    if not heat or view.is_on("mains_ok") is False or view.is_on("estop_ok") is False:
        return STILL
    closed = view.is_on("contactor_closed")
    amperes = (view.good(CURRENTS[0]), view.good(CURRENTS[1]))
    if closed is None and amperes == (None, None):
        return STILL
    jumped = None not in (was.closed, closed) and was.closed is not closed
    on = (_on(amperes[0]), _on(amperes[1]))
    for before, now in zip(was.amperes, on, strict=True):
        if before is not None and now is not None:
            jumped = jumped or abs(now - before) > limits.jump_share * max(now, before)
    jumps = was.jumps
    if jumped:
        jumps += 1.0
    elif jumps:
        jumps = max(0.0, jumps - STEADY_COUNTS)
    open_ns = began_ns(view, was.open_ns, holds=closed is False)
    return Contactor(closed, open_ns, on, min(jumps, 2 * limits.jumps))


def _on(heat_a: float | None) -> float | None:
    return heat_a if heat_a is not None and heat_a >= FLOWS_A else None


def _demand(limits: Limits, view: View, now: Memory) -> tuple[Level, str]:
    closed_s = lasted_s(view, now.closed_ns)
    if closed_s > limits.after_s:
        return Level.TRIP, f"relay still closed after {closed_s:.0f} s, heat will not go off"
    open_s = lasted_s(view, now.open_ns)
    if open_s > limits.after_s:
        return Level.WARN, f"relay still open after {open_s:.0f} s, heat will not come on"
    unread_s = lasted_s(view, now.unread_ns)
    if unread_s >= limits.unread_after_s:
        return Level.WARN, f"relay cannot be read back for {unread_s:.0f} s"
    if now.contactor.jumps >= limits.jumps:
        return Level.WARN, "contactor chatters, its contacts will weld"
    if lasted_s(view, now.contactor.open_ns) > limits.contactor_after_s:
        return Level.WARN, "contactor open though heat is allowed"
    return Level.CLEAR, ""
