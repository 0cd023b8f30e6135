"""The repair lost its pressure while it was hot.

Hazard:
    Steam opens damp rubber that is not pressed: pores and blisters inside, which
    nobody sees and which fail on the road.
Standard:
    At 207 kPa gauge water boils at about 134 C (IAPWS R7-97), so a repair at 140 C
    is held together by its pressure. 150 kPa and 10 s: common practice, no source.
    From which temperature on: `rules.boiling` and ADR 13.
Limits:
    `hot_c`, and never more than the local boiling point; `low_kpa`, below which a
    bag does not press enough; `lasts_s`, for how long.
Trips when:
    Never: `release.hot`, `bag.low` and `bag.burst` speak of the air and take heat
    away. This is what stays on the record: in a run that has been under air in
    heat-up, hold or cool-down, a bag was below 150 kPa for more than 10 s with a
    pad at the limit or above. Such a repair is never simply accepted.
Clears when:
    The run is closed.
When data is missing:
    A pad that cannot be read counts as it was when last read. A bag that cannot be
    read is left out. After a gap in the frames the 10 s start afresh.
Not covered:
    The depth of the repair: the pads stand in for it until the cure is worked out,
    and the middle is hotter than they are in cool-down, by 30 C and more. So a
    let-down with the pads just below the limit is not marked here, though
    `release.hot` warns of it.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.boiling import opens_below_c
from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import UNDER_AIR, began_ns, hottest_pad, lasted_s, title_of
from rules.phases import Phase
from rules.view import View

JUDGED = UNDER_AIR | {Phase.RELEASE, Phase.ABORTED}


class Limits(BaseModel):
    """Limits of `cure.pressure_lost`; what each is for stands above."""

    model_config = STRICT

    hot_c: float = Field(default=100.0, ge=50, le=100)
    low_kpa: float = Field(default=150.0, gt=0, le=600)
    lasts_s: float = Field(default=10.0, ge=1, le=120)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        under_air: the run has been under air in heat-up, hold or cool-down.
        hot: a pad was hot when last read.
        low_ns: since when a bag has been too low on a hot repair, ns.
        lost: it has been so for long enough; for the rest of the run.
    """

    under_air: bool = False
    hot: bool = False
    low_ns: int | None = None
    lost: bool = False


REST = Memory()

ROW = Row(
    tag="cure.pressure_lost",
    title="pressure was lost on hot rubber",
    consequence="pores inside that nobody sees; the repair fails on the road",
    priority=Priority.LOW,
    warn_do="KEEP AIR ON. Mark this repair.",
    trip_do="",
    warn_urgency=Urgency.MORNING,
    follows=("bag.burst", "release.hot", "bag.low", "bag.drift"),
    causes=("air let down too soon", "a bag or hose that failed", "a regulator or supply"),
    time_available="none: it has happened; the record keeps it",
    rescue="No use before inspection.",
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
    if not view.run_open or view.phase not in JUDGED:
        return REST, CLEAR if view.now.hottest_c is not None else NOT_JUDGED
    now = view.now
    one_kpa, other_kpa = now.bags
    low = (one_kpa is not None and one_kpa < limits.low_kpa) or (
        other_kpa is not None and other_kpa < limits.low_kpa
    )
    if not low and memory.under_air and memory.low_ns is None and not memory.lost:
        return _seen(limits, memory, view), CLEAR
    memory = _after(limits, memory, view, low=low)
    if not memory.lost:
        return memory, CLEAR
    return memory, Finding(Level.WARN, _said(view))


def _hot(limits: Limits, memory: Memory, view: View) -> bool:
    hottest_c = view.now.hottest_c
    if hottest_c is None:
        return memory.hot
    hot = hottest_c >= opens_below_c(view.facts.site_altitude_m, limits.hot_c)
    return hot or (memory.hot and view.now.coldest_c is None)


def _seen(limits: Limits, memory: Memory, view: View) -> Memory:
    """Only whether it is hot can have changed."""
    hottest_c = view.now.hottest_c
    if memory.hot and hottest_c is not None and hottest_c >= limits.hot_c:
        return memory
    hot = _hot(limits, memory, view)
    return memory if hot is memory.hot else Memory(memory.under_air, hot)


def _after(limits: Limits, memory: Memory, view: View, *, low: bool) -> Memory:
    under_air = memory.under_air or (view.pressurised and view.phase in UNDER_AIR)
    hot = _hot(limits, memory, view)
    low_ns = began_ns(view, memory.low_ns, holds=low and hot and under_air)
    lost = memory.lost or lasted_s(view, low_ns) > limits.lasts_s
    after = Memory(under_air, hot, low_ns, lost)
    return memory if after == memory else after


def _said(view: View) -> str:
    lowest_kpa, index = min(
        ((value, index) for index, value in enumerate(view.now.bags) if value is not None),
        default=(0.0, -1),
    )
    air = "air" if index < 0 else f"{title_of(BAGS[index])} {lowest_kpa:.0f} kPa"
    hottest = hottest_pad(view)
    pad = "pads not read" if hottest is None else f"{title_of(hottest[0])} {hottest[1]:.0f} C"
    return f"{air}, {pad}: inspect for porosity"
