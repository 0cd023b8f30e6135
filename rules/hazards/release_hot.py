"""The air is going, or is about to be let go, while the repair is hot.

Hazard:
    Damp in the rubber boils when the pressure goes: the repair blows, and hot
    air, talc and rubber may strike whoever stands near.
Standard:
    Pressure is held until the repair has cooled below 100 C: common practice,
    no source. At 207 kPa gauge water boils at about 134 C (IAPWS R7-97). Boiling
    point where the rig stands from ISO 2533 and IAPWS R7-97: `rules.boiling`.
Limits:
    `hot_c`, and never more than the local boiling point: from there up nothing is
    let down. `early_c` below it a let-down is early, for the middle of the repair
    is hotter than its pads. `deadband_c` for the end; `fall_kpa` within a minute;
    `begun_kpa`, enough within a minute where release was asked for;
    `band_kpa`, above which a fall is a trim and pressure is back; `low_kpa`;
    `confirm_s`, so that one rogue sample is not believed; `clear_after_s`.
Trips when:
    While any pad is at the limit or above, a bag that was held is below 150 kPa,
    or has lost 30 kPa within a minute and is below 180, for 1 s: the shape of a
    let-down, whoever began it. (Within a minute the air's own temperature moves it
    by under 1 kPa.) Where release was asked for, or the pins are out, 10 kPa within
    a minute are enough, wherever they stop. So does a rig found hot with its air
    gone. It warns, with the horn for "come now", when the same happens in the 5 C
    below the limit, and in both when release is asked for or the pins are out with
    the air still up, for 1 s.
Clears when:
    For 15 s every pad has been 2 C below all of that, or every bag is back at
    180 kPa, the pins are in and nobody asks for release.
When data is missing:
    A pad that cannot be read counts as it was when last read, hot or not; one
    never read counts as hot in heat-up, hold and cool-down. With no pad to be read
    a fall has no shape: below 180 kPa warns, below 150 trips. A bag that cannot be
    read is left out; with none, only a request is judged and what stood goes on
    standing. After a gap in the frames falls are seen afresh.
Not covered:
    The middle of the repair, for half an hour and more on thick sections hotter
    than the pads by 30 C and more: its estimate comes with a later rule. A loss of
    30 kPa in 5 s is `bag.burst`, which this then follows; one that takes longer
    than a minute is `bag.drift` and `bag.low` until it is below 150 kPa.
"""

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.air import REFERENCE_K, BagAir
from rules.boiling import KELVIN, opens_below_c
from rules.channels import BAGS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    UNDER_AIR,
    Standing,
    began_ns,
    confirmed,
    hottest_pad,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View

Pair = tuple[float | None, float | None]

SAMPLE_EVERY_NS = 10 * NS_PER_S
MINUTE_NS = 60 * NS_PER_S
# A fall any slower is no let-down, and would tell a time without meaning.
SLOWEST_KPA_PER_S = 0.05


class Heat(IntEnum):
    """How hot the pads are for letting down."""

    UNKNOWN = 0
    COOL = 1
    EARLY = 2
    HOT = 3


HOT = Heat.HOT


class Limits(BaseModel):
    """Limits of `release.hot`; what each is for stands above."""

    model_config = STRICT

    hot_c: float = Field(default=100.0, ge=50, le=100)
    early_c: float = Field(default=5.0, ge=0, le=20)
    deadband_c: float = Field(default=2.0, ge=0, le=10)
    fall_kpa: float = Field(default=30.0, gt=0, le=300)
    begun_kpa: float = Field(default=10.0, gt=0, le=100)
    band_kpa: float = Field(default=180.0, gt=0, le=600)
    low_kpa: float = Field(default=150.0, gt=0, le=600)
    confirm_s: float = Field(default=1.0, ge=0, le=10)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "low_kpa", "band_kpa")
        must_rise(self, "begun_kpa", "fall_kpa")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        heat: how hot the pads were when all of them could last be read.
        recent: both bags every 10 s of the last minute, kPa, the newest first.
        sampled_ns: process time of the newest of them, ns.
        losing_ns: since when air has been going, ns.
        asked_ns: since when release has been asked for, ns.
        standing: what stands.
    """

    heat: Heat = Heat.UNKNOWN
    recent: tuple[Pair, ...] = ()
    sampled_ns: int = 0
    losing_ns: int | None = None
    asked_ns: int | None = None
    standing: Standing = QUIET


ROW = Row(
    tag="release.hot",
    title="air is going while the repair is hot",
    consequence="the repair blows and may strike someone",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Do not open.",
    trip_do="REFILL AIR IF SAFE. Shut exhaust. Do not open.",
    warn_horn=Horn.COME_NOW,
    follows=("bag.burst", "release.pins_under_pressure", "supply.low"),
    told_with=("bag.drift",),
    causes=("an exhaust opened too soon", "the wrong bag let down", "a regulator turned too far"),
    time_available="under a minute: an open exhaust takes a bag to 150 kPa in some 46 s",
    rescue="Saveable above 150 kPa.",
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
    if _hot_and_held(limits, memory, view):
        return memory, CLEAR
    now = view.now
    if now.hottest_c is None and not _has_pads(view):
        return memory, NOT_JUDGED
    heat = _heat(limits, memory, view)
    due = view.gap_s > 0 or view.now_ns - memory.sampled_ns >= SAMPLE_EVERY_NS
    if heat is not memory.heat or (due and heat > Heat.COOL):
        memory = _sampled(memory, view, heat)
    one_kpa, other_kpa = now.bags
    low = (one_kpa is not None and one_kpa < limits.band_kpa) or (
        other_kpa is not None and other_kpa < limits.band_kpa
    )
    resting = memory.standing.level is Level.CLEAR and memory.losing_ns is memory.asked_ns is None
    if resting and (heat <= Heat.COOL or not (low or _asked(view))):
        return memory, CLEAR
    return _hot(limits, memory, view, heat)


def _hot_and_held(limits: Limits, memory: Memory, view: View) -> bool:
    """The usual case of hours, quickly seen: hot as before, held, nothing asked, no sample due."""
    hottest_c, lower_kpa = view.now.hottest_c, view.now.lower_kpa
    return (
        memory.heat is HOT
        and hottest_c is not None
        and hottest_c >= limits.hot_c
        and lower_kpa is not None
        and lower_kpa >= limits.band_kpa
        and view.now_ns - memory.sampled_ns < SAMPLE_EVERY_NS
        and not view.gap_s
        and memory.standing.level is Level.CLEAR
        and memory.losing_ns is memory.asked_ns is None
        and not _asked(view)
    )


def _sampled(memory: Memory, view: View, heat: Heat) -> Memory:
    if heat <= Heat.COOL:
        return replace(memory, heat=heat, recent=(), sampled_ns=0)
    passed_ns = view.now_ns - memory.sampled_ns
    kept = () if view.gap_s > 0 else memory.recent
    if kept and passed_ns < SAMPLE_EVERY_NS:
        return replace(memory, heat=heat)
    # Frames that come seldom: the one before is always within reach.
    kept = kept[: max(1, MINUTE_NS // passed_ns - 1)] if kept else kept
    recent = (view.now.bags, *kept)
    return replace(memory, heat=heat, recent=recent, sampled_ns=view.now_ns)


def _has_pads(view: View) -> bool:
    values = view.frame.values
    return "pad_inner_c" in values or "pad_outer_c" in values


def _heat(limits: Limits, memory: Memory, view: View) -> Heat:
    hottest_c = view.now.hottest_c
    if hottest_c is None:
        seen = Heat.UNKNOWN
    else:
        if hottest_c >= limits.hot_c:
            return Heat.HOT
        limit_c = opens_below_c(view.facts.site_altitude_m, limits.hot_c)
        if hottest_c >= limit_c:
            return Heat.HOT
        seen = Heat.EARLY if hottest_c >= limit_c - limits.early_c else Heat.COOL
    if view.now.coldest_c is not None:
        return seen
    # A pad that cannot be read: as it was, and where it never was, the safe side.
    unread = Heat.HOT if view.phase in UNDER_AIR else Heat.COOL
    return max(seen, memory.heat if memory.heat is not Heat.UNKNOWN else unread)


def _asked(view: View) -> str:
    """What asks for release, in words; empty when nothing does."""
    values = view.frame.values
    request, pins = values.get("release_request"), values.get("pins_in")
    # By the bare value first: that costs a tenth, and is nearly always the end of it.
    if request is not None and request.value and view.is_on("release_request"):
        return "release asked for"
    pulled = pins is not None and pins.value == 0.0 and view.pressurised
    return "pins out" if pulled and view.is_on("pins_in") is False else ""


def _hot(limits: Limits, memory: Memory, view: View, heat: Heat) -> tuple[Memory, Finding]:
    asked = _asked(view)
    worst = _losing(limits, memory, view, limits.begun_kpa if asked else None)
    losing_ns = began_ns(view, memory.losing_ns, holds=bool(worst) and heat > Heat.COOL)
    asked_ns = began_ns(view, memory.asked_ns, holds=bool(asked) and heat > Heat.COOL)
    loses = confirmed(view, losing_ns, limits.confirm_s)
    shaped = view.now.hottest_c is not None or _below(view, limits.low_kpa)
    if loses and shaped and heat is Heat.HOT:
        demand = Level.TRIP
    else:
        warns = loses or confirmed(view, asked_ns, limits.confirm_s)
        demand = Level.WARN if warns else Level.CLEAR
    standing = stand(
        view,
        memory.standing,
        demand,
        away=_cool(limits, view) or (not asked and _back(limits, view)),
        clear_after_s=limits.clear_after_s,
    )
    after = Memory(heat, memory.recent, memory.sampled_ns, losing_ns, asked_ns, standing)
    memory = memory if after == memory else after
    if standing.level is Level.CLEAR:
        return memory, CLEAR
    what = worst or asked or "air was lost"
    save_s = _left_s(limits, view) if worst else None
    return memory, Finding(standing.level, _said(limits, view, what), save_s=save_s)


def _losing(limits: Limits, memory: Memory, view: View, begun_kpa: float | None) -> str:
    """Which bag is losing air and how, in words; empty when none is.

    `begun_kpa`: a fall that is enough wherever the bag is, for somebody asked for it.
    """
    if not view.pressurised and view.phase is not Phase.ABORTED:
        return ""
    pads_read = view.now.hottest_c is not None
    for index, value in enumerate(view.now.bags):
        if value is None or (value >= limits.band_kpa and begun_kpa is None):
            continue
        name, fell_kpa = BAGS[index], _highest(memory, index, value) - value
        if fell_kpa >= (limits.fall_kpa if begun_kpa is None else begun_kpa):
            return f"{title_of(name)} {value:.0f} kPa, -{fell_kpa:.0f}"
        if value < limits.low_kpa or (value < limits.band_kpa and not pads_read):
            return f"{title_of(name)} {value:.0f} kPa"
    return ""


def _highest(memory: Memory, index: int, value: float) -> float:
    known = [pair[index] for pair in memory.recent]
    return max((kpa for kpa in known if kpa is not None), default=value)


def _below(view: View, limit_kpa: float) -> bool:
    return any(value is not None and value < limit_kpa for value in view.now.bags)


def _cool(limits: Limits, view: View) -> bool:
    """Every fitted pad reads well and is cool enough, deadband and all."""
    now = view.now
    if now.coldest_c is None or now.hottest_c is None:
        return False
    limit_c = opens_below_c(view.facts.site_altitude_m, limits.hot_c)
    return now.hottest_c < limit_c - limits.early_c - limits.deadband_c


def _back(limits: Limits, view: View) -> bool:
    """Every fitted bag reads well and is back in its band."""
    return view.now.lower_kpa is not None and view.now.lower_kpa >= limits.band_kpa


def _left_s(limits: Limits, view: View) -> float | None:
    """How long until a bag that falls is too low, s; None when that is not known."""
    return min(
        (
            left_s
            for bag, value in zip(view.air.bags, view.now.bags, strict=True)
            if (left_s := _falls_s(limits, bag, value)) is not None
        ),
        default=None,
    )


def _falls_s(limits: Limits, bag: BagAir, value: float | None) -> float | None:
    if value is None or value <= limits.low_kpa or bag.gas_c is None:
        return None
    # Its rate is told for air at 20 C; this air is warmer, and its pressure falls faster.
    falls_kpa_per_s = -bag.fast_kpa_per_s * (KELVIN + bag.gas_c) / REFERENCE_K
    if falls_kpa_per_s < SLOWEST_KPA_PER_S:
        return None
    return (value - limits.low_kpa) / falls_kpa_per_s


def _said(limits: Limits, view: View, what: str) -> str:
    hottest = hottest_pad(view)
    if hottest is None:
        return f"{what}, pads not read"
    name, value_c = hottest
    limit_c = opens_below_c(view.facts.site_altitude_m, limits.hot_c)
    if value_c < limit_c:
        return f"{what}, {title_of(name)} {value_c:.0f} C, core hotter"
    return f"{what}, {title_of(name)} {value_c:.0f} C, limit {limit_c:.0f}"
