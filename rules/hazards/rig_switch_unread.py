"""A switch's signal cannot be read.

Hazard:
    Emergency stop, mains, pins, heat or a button may say anything: whoever relies
    on it is not seen, and what goes by it here is not judged.
Standard:
    Failure told apart from a state as in NAMUR NE 107. The figures are common
    practice, no source.
Limits:
    `warn_after_s`; `clear_after_s`, how long it must read well again.
Trips when:
    Never. The emergency stop acts on the contactor without us, a signal that
    chatters is no reason to end a cure, and what its loss could hide is watched
    otherwise: heat by the pads, mains by the heat, pins by the bags. It warns when a
    fitted switch could not be read for 5 s, looked at every 5 s; one that comes and
    goes counts as one fault until it has read well for 15 s.
Clears when:
    Every switch has read well for 15 s.
When data is missing:
    That is what it tells: an input that says it has failed, and an empty cell of a
    trace. No answer from the module is `link.stale`'s alone.
Not covered:
    A signal that is there and wrong; a button held down: `rig.button_stuck`.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.channels import CHANNELS, Kind
from rules.events import Level
from rules.facts import STRICT
from rules.frame import LINK_REASONS, NS_PER_S, Quality
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import lasted_s, title_of
from rules.view import View

SWITCHES = tuple(channel.name for channel in CHANNELS if channel.kind is Kind.SWITCH)
LOOK_NS = 5 * NS_PER_S
GO_BY_S = 1800.0
NAMED_MAX = 1


class Limits(BaseModel):
    """Limits of `rig.switch_unread`; what each is for stands above."""

    model_config = STRICT

    warn_after_s: float = Field(default=5.0, ge=0, le=600)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        fault_ns: since when some switch cannot be read, ns, or None.
        bad_ns: process time of the last one that could not, ns.
        unread: those that could not be read last, by channel.
        told: it stands.
        judged: a switch is fitted.
    """

    fault_ns: int | None = None
    bad_ns: int = 0
    unread: tuple[str, ...] = ()
    told: bool = False
    judged: bool = False


REST = Memory()
SOUND = Memory(judged=True)

ROW = Row(
    tag="rig.switch_unread",
    title="a switch cannot be read",
    consequence="nobody sees here what it should tell",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Check the switch and its wires.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    causes=("wire loose or wet", "contact worn, so that it chatters", "input failing"),
    time_available="half an hour: what it guards acts without us",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge every fitted switch in one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    if memory.fault_ns is None and view.dt_s and view.now_ns % LOOK_NS >= view.dt_s * NS_PER_S:
        return memory, CLEAR if memory.judged else NOT_JUDGED
    readings = view.frame.values
    judged = False
    unread: tuple[str, ...] = ()
    for name in SWITCHES:
        reading = readings.get(name)
        if reading is None:
            continue
        judged = True
        if reading.quality is not Quality.GOOD and reading.reason not in LINK_REASONS:
            unread = (*unread, name)
    if not judged:
        return REST, NOT_JUDGED
    if unread:
        afresh = memory.fault_ns is None or view.gap_s > 0
        fault_ns = view.now_ns if afresh else memory.fault_ns
        told = memory.told or lasted_s(view, fault_ns) >= limits.warn_after_s
        memory = Memory(fault_ns, view.now_ns, unread, told, judged=True)
    elif memory.fault_ns is None or lasted_s(view, memory.bad_ns) >= limits.clear_after_s:
        return memory if memory == SOUND else SOUND, CLEAR
    if not memory.told:
        return memory, CLEAR
    return memory, Finding(Level.WARN, _said(view, memory, now=bool(unread)), go_by_s=GO_BY_S)


def _said(view: View, memory: Memory, *, now: bool) -> str:
    names = memory.unread
    more = f" and {len(names) - NAMED_MAX} more" if len(names) > NAMED_MAX else ""
    what = "unread" if now else "comes and goes"
    return f"{title_of(names[0])}{more}: {what} for {lasted_s(view, memory.fault_ns):.0f} s"
