"""The hard-wired thermal cut-out has opened.

Hazard:
    A pad got so hot that the last barrier before burning had to act: its thermostat
    does not work. Until the cut-out is reset by hand that pad goes cold.
Standard:
    A thermal cut-out apart from the control, reset by hand, is common practice, no
    source. This is no certified safety function.
Limits:
    `after_s`, so that a loose wire's blink is not taken for it; `clear_after_s` for
    the end.
Trips when:
    The cut-out's contact has read open for 2 s.
Clears when:
    It has read closed for 10 s.
When data is missing:
    Not fitted, or not readable: not judged. What stands goes on standing.
Not covered:
    A cut-out that is bridged reads closed whatever happens. Which pad it was: with
    one contact for both only the pads' readings tell.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, confirmed, stand
from rules.view import View


class Limits(BaseModel):
    """Limits of `rig.cutout_open`; what each is for stands above."""

    model_config = STRICT

    after_s: float = Field(default=2.0, ge=0, le=60)
    clear_after_s: float = Field(default=10.0, ge=0, le=600)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        open_ns: since when it has read open, ns.
        standing: what stands.
        said: what was seen when it came.
    """

    open_ns: int | None = None
    standing: Standing = QUIET
    said: str = ""


REST = Memory()

ROW = Row(
    tag="rig.cutout_open",
    title="the thermal cut-out has opened",
    consequence="a pad has run away, and now goes cold",
    priority=Priority.HIGH,
    warn_do="",
    trip_do="KEEP AIR ON. Do not open. Find out why.",
    causes=(
        "thermostat stuck, or its sensor off the pad",
        "thermostat set far too high",
        "cut-out or its wire broken",
    ),
    time_available="minutes: below 120 C the hold does not count",
    rescue="Saved if heat is back soon.",
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
    if "cutout_ok" not in view.frame.values:
        return REST, NOT_JUDGED
    closed = view.is_on("cutout_ok")
    if memory is REST and closed:
        return memory, CLEAR
    open_ns = memory.open_ns
    if closed is not None:
        open_ns = began_ns(view, open_ns, holds=not closed)
    demand = Level.CLEAR
    if closed is False and confirmed(view, open_ns, limits.after_s):
        demand = Level.TRIP
    standing = stand(
        view,
        memory.standing,
        demand,
        away=closed is True,
        clear_after_s=limits.clear_after_s,
    )
    if standing.level is Level.CLEAR:
        memory = REST if open_ns is None else Memory(open_ns)
        return memory, NOT_JUDGED if closed is None else CLEAR
    said = memory.said or _said(view)
    return Memory(open_ns, standing, said), Finding(Level.TRIP, said)


def _said(view: View) -> str:
    hottest_c = view.now.hottest_c
    return "cut-out open" if hottest_c is None else f"cut-out open, hottest pad {hottest_c:.0f} C"
