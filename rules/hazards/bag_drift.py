"""An air bag leaks slowly and will not last as long as the repair needs it.

Hazard:
    A leak too slow for `bag.low` to notice yet uses up the pressure before the
    repair is cool enough to be let down, often with nobody near.
Standard:
    Gas law at constant volume: pressure follows the absolute temperature of the
    air (a sealed bag at 207 kPa going from 20 to 100 C rises to 291 kPa). The
    figures are common practice, no source.
Limits:
    `span_s` looked back over and `coverage_s` needed before it speaks;
    `settle_s` after the bags are first held; `floor_kpa_per_h`, a leak too small
    to matter; `fallen_kpa`, how far a bag must be below its highest level before
    the alarm begins, more than a regulator lets it swing; `warn_kpa` and
    `needed_h`, what the bag must stay above and for how long; `trip_kpa` and
    `trip_within_min`; `step_kpa`, a change within 20 s that is a hand at the
    valve; `clear_after_s`; `hot_c`; `gas_share` and `ambient_c` for the
    temperature of the air.
Trips when:
    At its present rate a hot bag reaches 150 kPa within 10 min. Warns when it
    reaches 180 kPa sooner than the 3 h for which pressure may still be needed.
    The rate is the middle one of the three falls between the quarters of the
    last 15 min (of what there is, from 5 min), if the least of them is 6 kPa/h
    too: one step, wherever it lies, is no leak. It begins only 6 kPa below the
    bag's highest level, or half-way from there to 180 kPa: under a regulator that
    lets the air sink a little and refills it, it falls like a leak, over and
    over. A trim or a refill by hand starts it afresh. With bags locked off or on
    a regulator that does not vent, a fall counts only as far as both the gauge
    and the gauge corrected for the air's temperature show it, so that neither a
    bag that cools nor one that warms is a leak.
Clears when:
    The forecast has been long enough again for 2 min. After a trim or a refill
    that takes 5 min more, for the rate must be seen anew.
When data is missing:
    Nothing is added and what stood goes on standing. After a gap in the frames
    it starts afresh. Frames further apart than about 3 min are not judged.
Not covered:
    A leak that a regulator makes up (its supply and its refills come with a
    later rule). The time still needed is a fixed figure until the forecast of a
    safe release exists. A leak while the bags still warm up shows once they
    have.
"""

from dataclasses import dataclass, replace
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, AirMode, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    KELVIN,
    QUIET,
    Standing,
    atmosphere_kpa,
    duration,
    gas_k,
    hot,
    lasted_s,
    pressure_needed,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View
from rules.window import Bucket, Window

QUARTERS = 4
JUDGE_EVERY_S = 10.0
STEP_S = 20.0
REFERENCE_K = KELVIN + 20.0
BUCKETS = 45


class Limits(BaseModel):
    """Limits of `bag.drift`; what each is for stands above."""

    model_config = STRICT

    span_s: float = Field(default=900.0, ge=120, le=7200)
    coverage_s: float = Field(default=300.0, ge=60, le=7200)
    settle_s: float = Field(default=180.0, ge=0, le=3600)
    floor_kpa_per_h: float = Field(default=6.0, gt=0, le=600)
    fallen_kpa: float = Field(default=6.0, ge=0, le=50)
    warn_kpa: float = Field(default=180.0, gt=0, le=600)
    needed_h: float = Field(default=3.0, gt=0, le=24)
    trip_kpa: float = Field(default=150.0, gt=0, le=600)
    trip_within_min: float = Field(default=10.0, gt=0, le=120)
    step_kpa: float = Field(default=5.0, gt=0, le=100)
    clear_after_s: float = Field(default=120.0, ge=0, le=3600)
    hot_c: float = Field(default=100.0, ge=50, le=100)
    gas_share: float = Field(default=0.45, ge=0, le=1)
    ambient_c: float = Field(default=20.0, ge=-40, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "trip_kpa", "warn_kpa")
        if self.coverage_s > self.span_s:
            raise ValueError(
                f"coverage_s = {self.coverage_s:g} is longer than span_s = {self.span_s:g}; "
                "lower coverage_s or raise span_s"
            )
        return self


@dataclass(frozen=True, slots=True)
class BagMemory:
    """What is remembered of one bag.

    Attributes:
        plain: absolute pressure as read, kPa.
        corrected: the same brought to 20 °C, kPa; empty when not needed.
        judged_ns: process time at which the rate was last taken, ns.
        rate_kpa_per_h: how fast it falls, kPa/h; None while not known.
        highest_kpa: highest level since the windows began, kPa absolute, a level
            being the mean of a bucket; None before the first.
        standing: what stands.
    """

    plain: Window = Window(900.0, BUCKETS)
    corrected: Window = Window(900.0, BUCKETS)
    judged_ns: int = 0
    rate_kpa_per_h: float | None = None
    highest_kpa: float | None = None
    standing: Standing = QUIET


@dataclass(frozen=True, slots=True)
class Memory:
    """Both bags, and since when the bags have been held.

    Attributes:
        bags: in the order of `rules.channels.BAGS`.
        held_ns: process time since which pressure has been needed, ns.
    """

    bags: tuple[BagMemory, BagMemory] = (BagMemory(), BagMemory())
    held_ns: int | None = None


REST = Memory()

ROW = Row(
    tag="bag.drift",
    title="an air bag leaks slowly",
    consequence="the pressure will not last until the repair is cool",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Find the leak.",
    trip_do="BRING AIR UP. Do not open. Find the leak.",
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
    if not view.fitted(BAGS):
        return REST, NOT_JUDGED
    testing = view.pressurised and view.phase is Phase.INFLATION
    if not (testing or pressure_needed(view, limits.hot_c)):
        return REST, CLEAR
    held_ns = view.now_ns if memory.held_ns is None else memory.held_ns
    if lasted_s(view, held_ns) < limits.settle_s:
        return replace(REST, held_ns=held_ns), CLEAR
    inner, outer = memory.bags
    bags = (_follow(limits, inner, view, BAGS[0]), _follow(limits, outer, view, BAGS[1]))
    memory = Memory(bags, held_ns)
    level = max(bags[0].standing.level, bags[1].standing.level)
    if level is Level.CLEAR:
        return memory, CLEAR
    said = ", ".join(
        _said(limits, view, name, bag)
        for name, bag in zip(BAGS, bags, strict=True)
        if bag.standing.level is level
    )
    return memory, Finding(level, said)


def _follow(limits: Limits, was: BagMemory, view: View, name: str) -> BagMemory:
    value = view.good(name)
    if value is None:
        return was if view.reading(name) is not None else BagMemory()
    plain, corrected = _windows(limits, was, view, name, value)
    if (view.now_ns - was.judged_ns) < JUDGE_EVERY_S * NS_PER_S:
        return replace(was, plain=plain, corrected=corrected)
    fallen_kpa, highest_kpa = _fallen_kpa(was, plain)
    rate = _rate_kpa_per_h(limits, plain)
    if rate is not None and corrected.buckets:
        rate = min(rate, _rate_kpa_per_h(limits, corrected) or 0.0)
    standing = was.standing
    if rate is not None:
        demand = _demand(limits, view, value, rate)
        room_kpa = value + fallen_kpa - limits.warn_kpa
        if was.standing is QUIET and fallen_kpa < min(limits.fallen_kpa, room_kpa / 2):
            demand = Level.CLEAR
        standing = stand(
            view,
            was.standing,
            demand,
            away=demand is Level.CLEAR,
            clear_after_s=limits.clear_after_s,
        )
    return BagMemory(plain, corrected, view.now_ns, rate, highest_kpa, standing)


def _fallen_kpa(was: BagMemory, plain: Window) -> tuple[float, float]:
    """How far the newest whole bucket is below the highest so far, and that one, kPa absolute."""
    whole = plain.buckets[-2:][0]
    level_kpa = whole.total / whole.samples
    highest_kpa = was.highest_kpa
    # A window that does not go back to the last look was begun afresh since.
    if highest_kpa is None or plain.buckets[0].begin_ns > was.judged_ns:
        highest_kpa = level_kpa
    highest_kpa = max(highest_kpa, level_kpa)
    return highest_kpa - level_kpa, highest_kpa


def _windows(
    limits: Limits, was: BagMemory, view: View, name: str, value: float
) -> tuple[Window, Window]:
    """The windows with this reading; begun afresh after a gap or a hand at the valve."""
    plain, corrected = was.plain, was.corrected
    absolute_kpa = value + atmosphere_kpa(view.facts.site_altitude_m)
    step_kpa = limits.step_kpa * max(1.0, view.dt_s / STEP_S)
    stepped = bool(plain.buckets) and _step_kpa(plain.buckets[-1], absolute_kpa) > step_kpa
    if view.gap_s > 0 or stepped or plain.span_s != limits.span_s:
        plain = corrected = Window(limits.span_s, BUCKETS)
    plain = plain.push(view.now_ns, absolute_kpa)
    if view.facts.air_mode is AirMode.RELIEVING:
        return plain, corrected
    air_k = gas_k(view, name, share=limits.gas_share, ambient_c=limits.ambient_c)
    if air_k is None:
        return plain, corrected
    return plain, corrected.push(view.now_ns, absolute_kpa * REFERENCE_K / air_k)


def _step_kpa(tail: Bucket, absolute_kpa: float) -> float:
    return max(absolute_kpa - tail.low, tail.high - absolute_kpa)


def _rate_kpa_per_h(limits: Limits, window: Window) -> float | None:
    """How fast the window falls, kPa/h; None while too little is seen.

    A step touches at most two of the three falls between its quarters, so there
    is a leak only if the least of them is one. How bad it is the middle one
    tells: the least is too small while the leak has only just begun.
    """
    if window.covered_s < limits.coverage_s:
        return None
    begin_ns = window.buckets[0].begin_ns
    width_ns = (window.buckets[-1].end_ns - begin_ns) / QUARTERS
    totals, times, counts = [0.0] * QUARTERS, [0.0] * QUARTERS, [0] * QUARTERS
    for bucket in window.buckets:
        middle_ns = (bucket.begin_ns + bucket.end_ns) / 2 - begin_ns
        quarter = min(QUARTERS - 1, int(middle_ns / width_ns))
        totals[quarter] += bucket.total
        times[quarter] += middle_ns * bucket.samples
        counts[quarter] += bucket.samples
    if 0 in counts:
        return None
    means = [total / count for total, count in zip(totals, counts, strict=True)]
    middles_h = [
        time / count / (3600 * NS_PER_S) for time, count in zip(times, counts, strict=True)
    ]
    least, middle, _ = sorted(
        (means[i] - means[i + 1]) / (middles_h[i + 1] - middles_h[i]) for i in range(QUARTERS - 1)
    )
    return least if least < limits.floor_kpa_per_h else middle


def _demand(limits: Limits, view: View, value: float, rate_kpa_per_h: float) -> Level:
    if rate_kpa_per_h < limits.floor_kpa_per_h:
        return Level.CLEAR
    if (value - limits.trip_kpa) / rate_kpa_per_h * 60 < limits.trip_within_min:
        # Cold rubber under falling air is no emergency; unknown counts as hot.
        return Level.WARN if hot(view, limits.hot_c) is False else Level.TRIP
    short = (value - limits.warn_kpa) / rate_kpa_per_h < limits.needed_h
    return Level.WARN if short else Level.CLEAR


def _said(limits: Limits, view: View, name: str, bag: BagMemory) -> str:
    value, rate_kpa_per_h = view.good(name), bag.rate_kpa_per_h
    if value is None or rate_kpa_per_h is None or rate_kpa_per_h < limits.floor_kpa_per_h:
        return f"{title_of(name)} was falling"
    goal_kpa = limits.trip_kpa if bag.standing.level is Level.TRIP else limits.warn_kpa
    left_s = max(0.0, (value - goal_kpa) / rate_kpa_per_h * 3600)
    left = duration(left_s // 60 * 60)
    return f"{title_of(name)} -{rate_kpa_per_h:.0f} kPa/h, {goal_kpa:.0f} in {left}"
