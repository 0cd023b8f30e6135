"""An air bag leaks slowly and will not last as long as the repair needs it.

Hazard:
    A leak too slow for `bag.low` to notice yet uses up the pressure before the
    repair is cool enough to be let down, often with nobody near. One that a
    regulator makes up shows on no gauge, and both bags go once the supply does.
Standard:
    Gas law at constant volume: pressure follows the absolute temperature of the
    air (a sealed bag at 207 kPa going from 20 to 100 C rises to 291 kPa). When pads
    reach 100 C the core of a 60 mm repair needs about 1 h more (computed from
    conduction). The figures are common practice, no source.
Limits:
    `settle_s` after the bags are first held; `floor_kpa_per_h`, a leak too small to
    matter; `fallen_kpa`, how far a bag must have sunk, more than a regulator lets it
    swing, and `sealed_fallen_kpa` where it is locked off, more than a lag of the air
    misjudged by minutes; `warn_kpa`, what the bag must stay above for as long as it is
    needed: the hold that is left (`hold_h` where no time is stated), then cooling to
    `hot_c` (by `cools_h`, a time constant, until it is seen), then `core_h` for the
    core. `trip_kpa` and `trip_within_min`. `fast_after_s`, how long a quick fall must
    go on to be no trim, and `near_kpa` above `warn_kpa`, where that is not waited for.
    `made_up_kpa_per_h`, what a regulator may put back, and `supply_kpa_per_h`, how much
    faster the supply may sink than before, for `fed_min`, under a bag that stands no
    higher than when it was filled cold; at `tool_kpa_per_h` it is a tool that uses it,
    for a regulator feeds no such leak. `clear_after_s` for the end.
Trips when:
    At its present rate a hot bag reaches 150 kPa within 10 min. Warns when it
    reaches 180 kPa sooner than the repair is safe to let down. A fall counts only
    as far as both the gauge and the air at one temperature show it, so that
    neither a bag that cools or warms nor one that vents is a leak; and only once it has
    gone on for 6 kPa (5 where the bag is locked off), or half-way to 180 kPa. A trim or
    a refill starts it afresh; a quick fall that goes on as quickly for 1 min, or for 15 s within
    5 kPa of 180, is no trim. Where a regulator still holds the bag up it warns at most. It
    warns, too, when a regulator puts back 40 kPa/h more than cooling explains, and when
    a hot bag stands where a tight one stood cold while the supply sinks.
Clears when:
    The forecast has been long enough again for 2 min. After a trim or a refill
    that takes 2 min more, for the rate must be seen anew.
When data is missing:
    A bag or pads that cannot be read: nothing is added and what stood goes on
    standing. After a gap in the frames rates start afresh. Frames further apart
    than some 4 min tell no rate.
Not covered:
    A leak that a regulator feeds without a swing is not seen where the supply has no
    gauge, in cool-down, and under a regulator that holds the same pressure hot and
    cold. A leak while locked-off bags still warm up shows once they have.
"""

from dataclasses import dataclass, replace
from math import log
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.air import REFERENCE_K, BagAir, Doing
from rules.averages import Averages, begun
from rules.believed import believed
from rules.boiling import KELVIN
from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, AirMode, must_rise
from rules.feeding import looks_fed, looks_tight, made_up_kpa_per_h
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import (
    QUIET,
    Standing,
    duration,
    hot,
    hot_above_c,
    lasted_s,
    pressure_needed,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View

LOOK_S = 10.0
AROUND_C = 20.0
# A cooling that has been watched for so long and has come so far tells its own rate.
COOLED_S, COOLED_RATIO = 600.0, 0.95
REGULATOR_HOLDS_KPA = 5.0
PUMPED_KPA = 5.0
GOES_ON_SHARE, NEAR_SHARE = 0.75, 0.5


class Limits(BaseModel):
    """Limits of `bag.drift`; what each is for stands above."""

    model_config = STRICT

    settle_s: float = Field(default=180.0, ge=0, le=3600)
    floor_kpa_per_h: float = Field(default=6.0, gt=0, le=600)
    fallen_kpa: float = Field(default=6.0, ge=0, le=50)
    sealed_fallen_kpa: float = Field(default=5.0, ge=0, le=50)
    warn_kpa: float = Field(default=180.0, gt=0, le=600)
    hold_h: float = Field(default=3.0, gt=0, le=24)
    cools_h: float = Field(default=2.0, gt=0, le=24)
    core_h: float = Field(default=1.0, ge=0, le=24)
    trip_kpa: float = Field(default=150.0, gt=0, le=600)
    trip_within_min: float = Field(default=10.0, gt=0, le=120)
    fast_after_s: float = Field(default=60.0, ge=10, le=600)
    near_kpa: float = Field(default=5.0, ge=0, le=50)
    made_up_kpa_per_h: float = Field(default=40.0, gt=0, le=600)
    supply_kpa_per_h: float = Field(default=30.0, gt=0, le=6000)
    tool_kpa_per_h: float = Field(default=600.0, gt=0, le=100_000)
    fed_min: float = Field(default=20.0, gt=0, le=600)
    clear_after_s: float = Field(default=120.0, ge=0, le=3600)
    hot_c: float = Field(default=100.0, ge=50, le=100)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "trip_kpa", "warn_kpa")
        return self


@dataclass(frozen=True, slots=True)
class BagMemory:
    """What is remembered of one bag.

    Attributes:
        fallen_kpa: how far it has sunk at the rates seen.
        fed_ns: since when it has looked fed, ns.
        standing: what stands.
        refills_per_h: as last seen.
        told: what was seen when it rose.
        short_ns: process time at which it comes to the limit it is measured by, ns; 0:
            not known.
        lost_ns: at which it comes to the trip limit, ns; 0: not known.
    """

    fallen_kpa: float = 0.0
    fed_ns: int | None = None
    standing: Standing = QUIET
    refills_per_h: float = 0.0
    told: str = ""
    short_ns: int = 0
    lost_ns: int = 0


WELL = BagMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """Both bags, the supply, and the cooling.

    Attributes:
        bags: in the order of `rules.channels.BAGS`.
        looked_ns: process time of the last look, ns.
        held_ns: process time since which pressure has been needed, ns.
        supply: averages of its pressure since it was last pumped up; None: not read.
        usual_kpa_per_h: how fast the supply sank under bags that were seen to be tight.
        cool_ns: process time at which the cooling began, ns; 0: not yet.
        cool_from_c: hottest pad then, °C.
    """

    bags: tuple[BagMemory, BagMemory] = (WELL, WELL)
    looked_ns: int = 0
    held_ns: int = 0
    supply: Averages | None = None
    usual_kpa_per_h: float = 0.0
    cool_ns: int = 0
    cool_from_c: float = 0.0


REST = Memory()

ROW = Row(
    tag="bag.drift",
    title="an air bag loses air",
    consequence="the pressure will not last until the repair is cool",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Find the leak.",
    trip_do="BRING AIR UP. Do not open. Stop what leaks.",
    warn_urgency=Urgency.GO_BY,
    follows=("bag.burst", "bag.low", "release.hot", "supply.low"),
    causes=(
        "a coupling or hose that seeps",
        "an exhaust valve that does not close",
        "a regulator sagging, shut or iced",
        "the bag itself",
    ),
    time_available="an hour or so, as the message says",
    rescue="Saveable above 150 kPa.",
)


def judge(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """Judge both bags of one frame.

    Args:
        limits: of this hazard.
        memory: what was remembered.
        view: the frame.

    Source:
        Module docstring.
    """
    one_kpa, other_kpa = view.now.bags
    if one_kpa is None and other_kpa is None and not view.fitted(BAGS):
        return REST, NOT_JUDGED
    if not view.due(LOOK_S) and view.gap_s <= 0:
        inner, outer = memory.bags
        if inner.standing.level is Level.CLEAR and outer.standing.level is Level.CLEAR:
            return memory, CLEAR
        return memory, _finding(memory, view, max(inner.standing.level, outer.standing.level))
    testing = view.pressurised and view.phase is Phase.INFLATION
    if not (testing or pressure_needed(view, limits.hot_c)):
        return REST, CLEAR
    memory = _followed(limits, memory, view)
    level = max(bag.standing.level for bag in memory.bags)
    return memory, CLEAR if level is Level.CLEAR else _finding(memory, view, level)


def _finding(memory: Memory, view: View, level: Level) -> Finding:
    bad = [bag for bag in memory.bags if bag.standing.level is level]
    said = ", ".join(bag.told for bag in bad)
    return Finding(
        level,
        said,
        go_by_s=_until_s(view, [bag.short_ns for bag in bad]),
        save_s=_until_s(view, [bag.lost_ns for bag in bad]),
    )


def _until_s(view: View, times_ns: list[int]) -> float | None:
    known = [at_ns for at_ns in times_ns if at_ns]
    return max(0.0, (min(known) - view.now_ns) / NS_PER_S) if known else None


def _followed(limits: Limits, was: Memory, view: View) -> Memory:
    """Everything after one more look."""
    cool_ns, cool_from_c = was.cool_ns, was.cool_from_c
    if view.phase is not Phase.COOL_DOWN or view.heated is True:
        cool_ns = 0
    elif not cool_ns and view.now.hottest_c is not None:
        cool_ns, cool_from_c = view.now_ns, view.now.hottest_c
    supply = _supply(was.supply, view)
    sinks = None if supply is None else supply.rate_per_h
    usual = was.usual_kpa_per_h
    if sinks is not None and all(looks_tight(bag) for bag in view.air.bags):
        usual = max(0.0, -sinks)
    held_ns = was.held_ns or view.now_ns
    memory = Memory(was.bags, view.now_ns, held_ns, supply, usual, cool_ns, cool_from_c)
    if lasted_s(view, held_ns) < limits.settle_s:
        return memory
    # None: not known, while it is pumped up or a tool uses it; False: the supply holds.
    drawn = None
    if sinks is not None and -sinks < limits.tool_kpa_per_h:
        drawn = -sinks > usual + limits.supply_kpa_per_h
    step_s = min(60.0, (view.now_ns - was.looked_ns) / NS_PER_S) if was.looked_ns else 0.0
    bags = (
        _bag(limits, was.bags[0], memory, view, 0, step_s, drawn=drawn),
        _bag(limits, was.bags[1], memory, view, 1, step_s, drawn=drawn),
    )
    return replace(memory, bags=bags)


def _supply(was: Averages | None, view: View) -> Averages | None:
    """Averages since the supply was last pumped up; None while it cannot be read."""
    kpa = believed("supply_kpa", view.frame.values.get("supply_kpa"))
    if kpa is None:
        return None
    if was is None or view.gap_s > 0 or kpa - was.near > PUMPED_KPA:
        return begun(view.now_ns, kpa)
    return was.push(view.now_ns, kpa)


def _needed_s(limits: Limits, memory: Memory, view: View) -> float:
    """For how long the pressure is still needed, s: hold, cooling, core."""
    hold_s = 0.0
    from_c = view.facts.set_c
    if view.phase is Phase.COOL_DOWN:
        from_c = from_c if view.now.hottest_c is None else view.now.hottest_c
    else:
        stated = view.facts.hold_min
        hold_s = limits.hold_h * 3600 if stated is None else stated * 60
        hold_s = max(0.0, hold_s - view.held_s)
    around_c = view.good("ambient_c")
    around_c = AROUND_C if around_c is None else around_c
    below_c = max(hot_above_c(view.facts, limits.hot_c), around_c + 1.0)
    cooling_s = 0.0
    if from_c > below_c:
        lag_s = _lag_s(limits, memory, view, around_c)
        cooling_s = lag_s * log((from_c - around_c) / (below_c - around_c))
    return hold_s + cooling_s + limits.core_h * 3600


def _lag_s(limits: Limits, memory: Memory, view: View, around_c: float) -> float:
    """Time constant of the pads' cooling, s: as seen, once it can be."""
    lag_s, now_c = limits.cools_h * 3600, view.now.hottest_c
    cooled_s = (view.now_ns - memory.cool_ns) / NS_PER_S
    if not memory.cool_ns or now_c is None or cooled_s < COOLED_S or now_c <= around_c:
        return lag_s
    ratio = (now_c - around_c) / max(1.0, memory.cool_from_c - around_c)
    return cooled_s / -log(ratio) if ratio < COOLED_RATIO else lag_s


def _bag(
    limits: Limits,
    was: BagMemory,
    memory: Memory,
    view: View,
    place: int,
    step_s: float,
    *,
    drawn: bool | None,
) -> BagMemory:
    """One bag after one more look."""
    value, air = view.now.bags[place], view.air.bags[place]
    if value is None or air.gas_c is None:
        return was if view.reading(BAGS[place]) is not None else WELL
    fed_ns = _fed_ns(was, view, air, drawn=drawn)
    if air.refills_per_h > was.refills_per_h + 0.5:
        # Air comes in: the regulator holds the bag. What it must put back is another question.
        was = BagMemory(fed_ns=was.fed_ns)
    loss = _loss_kpa_per_h(limits, view, air, value)
    if loss is None:
        return _kept(was, fed_ns, air.refills_per_h)
    fallen_kpa = 0.0
    if loss >= limits.floor_kpa_per_h:
        fallen_kpa = max(was.fallen_kpa + loss * step_s / 3600, _moved_kpa(air))
    demand = _demand(limits, memory, view, value, loss)
    if was.standing.level is Level.CLEAR and not _enough(limits, view, value, fallen_kpa):
        demand = Level.CLEAR
    told, short_ns, lost_ns = _told(limits, view, place, value, loss, demand)
    if demand is Level.CLEAR:
        demand, told, short_ns = _told_fed(limits, memory.supply, view, place, fed_ns)
    standing = stand(
        view,
        was.standing,
        demand,
        away=demand is Level.CLEAR,
        clear_after_s=limits.clear_after_s,
    )
    if standing.level is Level.CLEAR:
        after = BagMemory(fallen_kpa, fed_ns, refills_per_h=air.refills_per_h)
        return WELL if after == WELL else after
    if demand is Level.CLEAR:
        return BagMemory(fallen_kpa, fed_ns, standing, air.refills_per_h, was.told)
    said = told if standing.level > was.standing.level else was.told
    return BagMemory(fallen_kpa, fed_ns, standing, air.refills_per_h, said, short_ns, lost_ns)


def _kept(was: BagMemory, fed_ns: int | None, refills_per_h: float) -> BagMemory:
    """No rate is known: what stands goes on standing, what was counted begins afresh."""
    if was.standing.level is not Level.CLEAR:
        return replace(was, fed_ns=fed_ns, refills_per_h=refills_per_h)
    after = BagMemory(fed_ns=fed_ns, refills_per_h=refills_per_h)
    return WELL if after == WELL else after


def _loss_kpa_per_h(limits: Limits, view: View, air: BagAir, value: float) -> float | None:
    """How fast the bag loses air, in what its gauge would show, kPa/h; None: not known."""
    loss = None
    warmth = (KELVIN + (air.gas_c or 0.0)) / REFERENCE_K
    if air.rate_kpa_per_h is not None and air.gauge_rate_kpa_per_h is not None:
        loss = -max(air.rate_kpa_per_h * warmth, air.gauge_rate_kpa_per_h)
    if air.doing not in (Doing.TRIM, Doing.LETTING_DOWN) or air.track is None:
        return loss
    lasts_s = lasted_s(view, air.track.moving_ns)
    fast = -max(air.fast_kpa_per_s, air.track.gauge.fast_per_s)
    near = value < limits.warn_kpa + limits.near_kpa
    wait_s = limits.fast_after_s / 4 if near else limits.fast_after_s
    # A trim slows down on its way, a leak hardly.
    share = NEAR_SHARE if near else GOES_ON_SHARE
    if lasts_s >= wait_s and fast * lasts_s > share * _moved_kpa(air):
        return max(loss or 0.0, fast * 3600)
    return loss


def _moved_kpa(air: BagAir) -> float:
    """How far a quick fall has come, in what the gauge shows, kPa."""
    if air.track is None or air.track.moving_ns is None:
        return 0.0
    warmth = (KELVIN + (air.gas_c or 0.0)) / REFERENCE_K
    return (air.track.moving_from_kpa - air.track.corrected.near) * warmth


def _enough(limits: Limits, view: View, value: float, fallen_kpa: float) -> bool:
    """The bag has fallen further than a regulator swings, or half-way to the limit."""
    sealed = view.facts.air_mode is AirMode.LOCKED_OFF
    enough_kpa = limits.sealed_fallen_kpa if sealed else limits.fallen_kpa
    room_kpa = value + fallen_kpa - limits.warn_kpa
    return fallen_kpa >= min(enough_kpa, room_kpa / 2)


def _demand(
    limits: Limits, memory: Memory, view: View, value: float, loss_kpa_per_h: float
) -> Level:
    if loss_kpa_per_h < limits.floor_kpa_per_h:
        return Level.CLEAR
    if (value - limits.trip_kpa) / loss_kpa_per_h * 60 < limits.trip_within_min:
        held = view.facts.air_mode is not AirMode.LOCKED_OFF
        held = held and value > view.facts.set_kpa - REGULATOR_HOLDS_KPA
        # Cold rubber under falling air is no emergency; unknown counts as hot.
        return Level.WARN if held or hot(view, limits.hot_c) is False else Level.TRIP
    short = (value - limits.warn_kpa) / loss_kpa_per_h * 3600 < _needed_s(limits, memory, view)
    return Level.WARN if short else Level.CLEAR


def _told(
    limits: Limits, view: View, place: int, value: float, loss_kpa_per_h: float, demand: Level
) -> tuple[str, int, int]:
    """What is said, and when the bag comes to its limits, ns."""
    if demand is Level.CLEAR:
        return "", 0, 0
    to_warn_s = max(0.0, (value - limits.warn_kpa) / loss_kpa_per_h * 3600)
    to_trip_s = max(0.0, (value - limits.trip_kpa) / loss_kpa_per_h * 3600)
    goal_kpa, left_s = limits.warn_kpa, to_warn_s
    if demand is Level.TRIP or value <= limits.warn_kpa:
        goal_kpa, left_s = limits.trip_kpa, to_trip_s
    left = duration(left_s // 60 * 60)
    return (
        f"{title_of(BAGS[place])} -{loss_kpa_per_h:.0f} kPa/h, {goal_kpa:.0f} in {left}",
        view.now_ns + int(left_s * NS_PER_S),
        view.now_ns + int(to_trip_s * NS_PER_S),
    )


def _fed_ns(was: BagMemory, view: View, air: BagAir, *, drawn: bool | None) -> int | None:
    if drawn is False or not looks_fed(view, air):
        return None
    if was.fed_ns is not None:
        return was.fed_ns
    return view.now_ns if drawn else None


def _told_fed(
    limits: Limits, supply: Averages | None, view: View, place: int, fed_ns: int | None
) -> tuple[Level, str, int]:
    """A leak that a regulator makes up: level, what is said, when the supply is gone, ns."""
    title, made_up = title_of(BAGS[place]), made_up_kpa_per_h(view.air.bags[place])
    if made_up > limits.made_up_kpa_per_h:
        return Level.WARN, f"{title} leaks, refilled by {made_up:.0f} kPa/h", 0
    if supply is None or lasted_s(view, fed_ns) < limits.fed_min * 60:
        return Level.CLEAR, "", 0
    sinks = supply.rate_per_h
    if sinks is None or sinks >= 0:
        return Level.WARN, f"{title} leaks and is fed", 0
    left_s = max(0.0, (supply.near - view.facts.set_kpa) / -sinks * 3600)
    gone_ns = view.now_ns + int(left_s * NS_PER_S)
    return Level.WARN, f"{title} leaks, supply {sinks:.0f} kPa/h", gone_ns
