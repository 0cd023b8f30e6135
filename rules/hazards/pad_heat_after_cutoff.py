"""Heat was taken away, and it goes on.

Hazard:
    A welded contactor, a permit relay that sticks closed or one that somebody has
    bridged keeps the pads hot although heat is not allowed. Whoever pressed the
    emergency stop, or trusts that a trip has cut the heat, is wrong; the rubber is
    overdone or burns, and only the supply's own switch helps.
Standard:
    That the effect of a stop is watched is the spirit of IEC 60204-1 and ISO 13850,
    from memory; the times are common practice, no source. Cooling is taken as
    exponential towards the air (Newton's law of cooling). This is no certified
    safety function.
Limits:
    `signal_after_s`, how long a heater's current, the heat signal or the contactor
    may stay on after the cut. Where only the pads tell: `settle_s`, how long heat
    in a pad may still come out; from then `rise_c_min` and `above_cut_c`;
    `again_c`, a rise from the lowest since the cut, that only a thermostat's next
    call explains. `judge_after_s`, when the cooling is held against what is
    expected: `cooling_share` of the way to the air, learned on this rig,
    `expected_share` of which must be there. `least_hot_c`, how much warmer than
    the air a pad must be for that; `ambient_c`, taken when the air is not
    measured; `cooled_c` and `clear_after_s` for the end.
Trips when:
    The permit has been withdrawn, as it is by a trip, the end of the hold, the
    emergency stop and the mains, yet: a current, the heat signal or the contactor is still on
    after 5 s; or after 3 min a pad rises by more than 2 C/min or is 8 C above its
    value at the cut; or a pad under air rises 1.8 C above its lowest since; or at
    15 min it has cooled by under 40 % of what is expected.
Clears when:
    The contactor has been open and no heat seen for 60 s; where no contactor is
    fitted, no heat has been seen and the pads have cooled by 4 C, for a thermostat
    that rests shows no heat either; or heat is allowed again.
When data is missing:
    Each sign that is not fitted or not good is left out; with none at all it is
    not judged. Across a gap the cooling is not judged, for nobody saw what was
    done meanwhile; what stands goes on standing.
Not covered:
    A pad that reads as no sound sensor does, frozen or below the air: `pad.sensor`
    tells of it. A contactor that has welded while every thermostat rests; heat on a rig that is
    only watched, but for its emergency stop; heat that was never allowed, which is
    `permit.bypassed`.
"""

from dataclasses import dataclass, replace

from pydantic import BaseModel, Field

from rules.channels import PADS
from rules.events import Horn, Level
from rules.facts import STRICT
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    UNDER_AIR,
    Standing,
    began_ns,
    confirmed,
    lasted_s,
    stand,
    title_of,
)
from rules.heating import LOOK_S, Pair, heat_seen, rate_c_min, surely_off
from rules.phases import Phase
from rules.view import View

# What was learned may not lead to a limit that a thermostat's own swing passes.
SHARES = (0.08, 0.3)
GLANCE_S = 5.0
# On the way to the tyre and on a warm one a pad may well warm up with no heat in it.
PADS_TELL = UNDER_AIR | {Phase.PREHEAT, Phase.ABORTED}


class Limits(BaseModel):
    """Limits of `pad.heat_after_cutoff`; what each is for stands above."""

    model_config = STRICT

    signal_after_s: float = Field(default=5.0, gt=0, le=60)
    settle_s: float = Field(default=180.0, gt=0, le=900)
    rise_c_min: float = Field(default=2.0, gt=0, le=10)
    above_cut_c: float = Field(default=8.0, gt=0, le=30)
    again_c: float = Field(default=1.8, gt=0, le=10)
    judge_after_s: float = Field(default=900.0, gt=0, le=3600)
    cooling_share: float = Field(default=0.11, gt=0, lt=1)
    expected_share: float = Field(default=0.4, gt=0, lt=1)
    least_hot_c: float = Field(default=60.0, gt=0, le=200)
    ambient_c: float = Field(default=20.0, ge=-40, le=60)
    cooled_c: float = Field(default=4.0, gt=0, le=20)
    clear_after_s: float = Field(default=60.0, ge=0, le=3600)


@dataclass(frozen=True, slots=True)
class Cut:
    """What is remembered since heat was last taken away.

    Attributes:
        at_ns: when, ns.
        pads_c: what each pad read then, °C, or None.
        lowest_c: lowest reading of each pad since, °C, or None.
        seen_ns: since when a signal has shown heat, ns.
        judged: the cooling has been held against what is expected.
        standing: what stands.
        said: what was seen when it came.
        told_c: what each pad read then, °C, or None.
    """

    at_ns: int
    pads_c: Pair
    lowest_c: Pair
    seen_ns: int | None = None
    judged: bool = False
    standing: Standing = QUIET
    said: str = ""
    told_c: Pair = (None, None)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        allowed: heat was allowed in the frame before.
        cut: since it was taken away; None before, and while it is allowed.
        share: how far towards the air this rig's pads cool in `judge_after_s`,
            learned, 0 to 1; None: not seen yet.
    """

    allowed: bool = False
    cut: Cut | None = None
    share: float | None = None


ROW = Row(
    tag="pad.heat_after_cutoff",
    title="heat will not go off",
    consequence="heat cannot be taken away: the rubber burns or is overdone",
    priority=Priority.HIGH,
    warn_do="",
    trip_do="KEEP AIR ON. SWITCH HEAT OFF AT THE SUPPLY.",
    trip_horn=Horn.COME_NOW,
    causes=(
        "contactor welded",
        "permit relay stuck closed, or bridged",
        "emergency stop bypassed",
        "pads plugged in past the contactor",
    ),
    time_available="minutes: nothing else on the rig takes this heat away",
    rescue="Repair safe once heat is off.",
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
    cut = memory.cut
    allowed = view.permit_granted
    if view.watch_only:
        # All that is known there of what may be on is the emergency stop.
        stop_ok = view.is_on("estop_ok")
        if stop_ok is None and cut is None:
            return memory, NOT_JUDGED
        allowed = stop_ok is True
    if allowed:
        if memory.allowed and cut is None:
            return memory, CLEAR
        return Memory(allowed=True, share=memory.share), CLEAR
    if cut is None:
        if not memory.allowed:
            return memory, NOT_JUDGED
        cut = Cut(view.now_ns, view.now.pads, view.now.pads)
        return Memory(cut=cut, share=memory.share), CLEAR
    return _watched(limits, memory, cut, view)


def _watched(limits: Limits, memory: Memory, cut: Cut, view: View) -> tuple[Memory, Finding]:
    """One frame after the cut; little is done in it while nothing stands."""
    if cut.standing.level is Level.CLEAR:
        if not view.run_open and not view.watch_only:
            # What heats between two runs was never allowed: `permit.bypassed`.
            return Memory(share=memory.share), NOT_JUDGED
        if not view.heated and view.gap_s == 0 and not view.due(GLANCE_S):
            return memory, CLEAR
    return _look(limits, memory, cut, view)


def _look(limits: Limits, memory: Memory, cut: Cut, view: View) -> tuple[Memory, Finding]:
    """Whether heat goes on after the cut."""
    if view.gap_s > 0:
        cut = replace(cut, pads_c=(None, None), lowest_c=view.now.pads, seen_ns=None)
    seen, share = heat_seen(view), memory.share
    cut = _signalled(limits, cut, view, seen)
    if cut.standing.level is Level.CLEAR and view.due(LOOK_S):
        cut, share = _cooling(limits, cut, view, share)
    cut = _ended(limits, cut, view, seen)
    if cut is not memory.cut or share != memory.share:
        memory = Memory(cut=cut, share=share)
    if cut.standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if seen is None and view.now.hottest_c is None else CLEAR
    return memory, Finding(cut.standing.level, cut.said)


def _signalled(limits: Limits, cut: Cut, view: View, seen: str | None) -> Cut:
    # Told on the second look that shows it: one sample may be a rogue.
    seen_ns = began_ns(view, cut.seen_ns, holds=bool(seen))
    late = lasted_s(view, cut.at_ns) > limits.signal_after_s
    if seen and late and cut.standing.level is Level.CLEAR and confirmed(view, seen_ns, 1.0):
        said = f"{seen} {_ago(view, cut)} after the cut"
        standing = Standing(Level.TRIP)
        return replace(cut, seen_ns=seen_ns, standing=standing, said=said, told_c=view.now.pads)
    return cut if seen_ns == cut.seen_ns else replace(cut, seen_ns=seen_ns)


def _ago(view: View, cut: Cut) -> str:
    seconds = lasted_s(view, cut.at_ns)
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _cooling(limits: Limits, cut: Cut, view: View, share: float | None) -> tuple[Cut, float | None]:
    """What the pads alone tell, looked at now and then."""
    since_s = lasted_s(view, cut.at_ns)
    if since_s < limits.settle_s:
        return replace(cut, lowest_c=view.now.pads), share
    said = ""
    if view.phase in PADS_TELL:
        said = next(filter(None, (_rises(limits, cut, view, index) for index in (0, 1))), "")
    was, now = cut.lowest_c, view.now.pads
    lowest = (_lower(was[0], now[0]), _lower(was[1], now[1]))
    judged = cut.judged
    if not said and not judged and since_s >= limits.judge_after_s:
        judged = True
        if view.phase in UNDER_AIR:
            said, share = _too_slow(limits, cut, view, share)
    if said:
        return replace(cut, standing=Standing(Level.TRIP), said=said, told_c=now), share
    if lowest != cut.lowest_c or judged != cut.judged:
        cut = replace(cut, lowest_c=lowest, judged=judged)
    return cut, share


def _lower(was_c: float | None, now_c: float | None) -> float | None:
    if was_c is None or now_c is None:
        return now_c if was_c is None else was_c
    return min(was_c, now_c)


def _rises(limits: Limits, cut: Cut, view: View, index: int) -> str:
    """That a pad rises as no heat left in it explains, in words."""
    value, at_cut, lowest = view.now.pads[index], cut.pads_c[index], cut.lowest_c[index]
    # With wires crossed a pad reads below the air, and rises as it cools: `pad.sensor`.
    if value is None or value <= _around_c(limits, view):
        return ""
    rate = rate_c_min(view.heating.trails[index], 60.0)
    if rate is not None and rate > limits.rise_c_min:
        return f"{title_of(PADS[index])} {value:.0f} C, rises {rate:.1f} C/min, heat is off"
    if at_cut is not None and value - at_cut > limits.above_cut_c:
        return f"{title_of(PADS[index])} {value - at_cut:.0f} C hotter than when heat was cut"
    # Off the tyre, or with the air out, a pad may well warm up against the rubber again.
    if lowest is None or view.phase not in UNDER_AIR or not view.pressurised:
        return ""
    if value - lowest >= limits.again_c and value - _around_c(limits, view) > limits.least_hot_c:
        return f"{title_of(PADS[index])} {value:.0f} C, rises again though heat is off"
    return ""


def _around_c(limits: Limits, view: View) -> float:
    around_c = view.good("ambient_c")
    return limits.ambient_c if around_c is None else around_c


def _too_slow(
    limits: Limits, cut: Cut, view: View, share: float | None
) -> tuple[str, float | None]:
    """That a pad has hardly cooled, in words; and the share learned when all is well."""
    around_c = _around_c(limits, view)
    expected = limits.cooling_share if share is None else share
    shares = []
    for index in (0, 1):
        value, at_cut = view.now.pads[index], cut.pads_c[index]
        if value is None or at_cut is None or at_cut - around_c < limits.least_hot_c:
            continue
        if _stands_still(view, index):
            continue
        cooled_c, hot_c = at_cut - value, at_cut - around_c
        if cooled_c < limits.expected_share * expected * hot_c:
            name = title_of(PADS[index])
            return f"{name} {value:.0f} C, cooled {cooled_c:.0f} C in {_ago(view, cut)}", share
        shares.append(cooled_c / hot_c)
    if not shares:
        return "", share
    learned = min(max(min(shares), SHARES[0]), SHARES[1])
    return "", learned if share is None else share + (learned - share) / 4


def _stands_still(view: View, index: int) -> bool:
    """A reading that does not move at all is a frozen sensor's: `pad.sensor` tells of it."""
    values = {value_c for _, value_c in view.heating.trails[index]}
    return len(values) == 1


def _ended(limits: Limits, cut: Cut, view: View, seen: str | None) -> Cut:
    """What stands after this frame; once it is over the cooling is watched afresh."""
    if cut.standing.level is Level.CLEAR:
        return cut
    away = not seen and surely_off(view, cut.told_c, limits.cooled_c)
    standing = stand(view, cut.standing, Level.CLEAR, away=away, clear_after_s=limits.clear_after_s)
    if standing.level is Level.CLEAR:
        return Cut(view.now_ns, view.now.pads, view.now.pads)
    return cut if standing is cut.standing else replace(cut, standing=standing)
