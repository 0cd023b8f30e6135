"""An air bag presses too little on a hot repair.

Hazard:
    Too little pressure lets the rubber lift, trap air and turn porous; hot and
    damp, it blows.
Standard:
    30 psi (206.84 kPa) set on each bag; warn below 180, trip below 150 kPa:
    common practice, no source. Deadband 2 % and 15 s: from memory, as a start
    under IEC 62682 / ISA-18.2. Gas law at constant volume for a bag locked off.
Limits:
    `warn_kpa` and `warn_after_s`; `trip_kpa` and `trip_after_s`; `deadband_kpa`
    and `clear_after_s` for the end; `hot_c`, below which a cooling repair no
    longer needs the pressure; `gas_share` and `ambient_c` for the temperature
    of the air in a bag locked off.
Trips when:
    Either bag has been below 150 kPa for 1 s, that is on the second sample at
    one a second. Warns below 180 kPa for 15 s. Each bag on its own, and only
    once the bags have been held: in heat-up and in the hold, and in cool-down
    while any pad is above 100 C (or the local boiling point less 5 C). In
    cool-down there is no heat left to take away; it speaks all the same. With
    the bags locked off the warning limit follows a bag that cools, by the air's
    absolute temperature against the hottest it has been; the trip does not. A
    run that is aborted under this alarm keeps it while hot.
Clears when:
    The bag has been 4 kPa over the warning limit for 15 s, or the pressure is
    no longer needed.
When data is missing:
    A bag that cannot be read keeps what stood. Pads that cannot be read in
    cool-down count as hot.
Not covered:
    A pressure tapped on the wrong side of a closed valve; a bag that presses
    beside the repair; a slow leak that has not come so far (`bag.drift`).
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, AirMode, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    atmosphere_kpa,
    began_ns,
    gas_k,
    hot,
    lasted_s,
    pressure_needed,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View


class Limits(BaseModel):
    """Limits of `bag.low`; what each is for stands above."""

    model_config = STRICT

    warn_kpa: float = Field(default=180.0, gt=0, le=600)
    warn_after_s: float = Field(default=15.0, ge=0, le=600)
    trip_kpa: float = Field(default=150.0, gt=0, le=600)
    trip_after_s: float = Field(default=1.0, ge=0, le=60)
    deadband_kpa: float = Field(default=4.0, ge=0, le=50)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    hot_c: float = Field(default=100.0, ge=50, le=100)
    gas_share: float = Field(default=0.45, ge=0, le=1)
    ambient_c: float = Field(default=20.0, ge=-40, le=60)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "trip_kpa", "warn_kpa")
        return self


@dataclass(frozen=True, slots=True)
class BagMemory:
    """What is remembered of one bag.

    Attributes:
        below_warn_ns: since when it has been below the warning limit, ns.
        below_trip_ns: since when it has been below the trip limit, ns.
        hottest_k: hottest its air has been while it was needed, K, modelled.
        standing: what stands.
    """

    below_warn_ns: int | None = None
    below_trip_ns: int | None = None
    hottest_k: float = 0.0
    standing: Standing = QUIET


@dataclass(frozen=True, slots=True)
class Memory:
    """Both bags, in the order of `rules.channels.BAGS`."""

    bags: tuple[BagMemory, BagMemory] = (BagMemory(), BagMemory())


REST = Memory()

ROW = Row(
    tag="bag.low",
    title="air pressure is too low",
    consequence="the repair turns porous or blows",
    priority=Priority.HIGH,
    warn_do="BRING AIR UP. Do not open.",
    trip_do="BRING AIR UP IF SAFE. Do not open.",
    follows=("bag.burst",),
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
    if not (pressure_needed(view, limits.hot_c) or _lost(limits, memory, view)):
        return REST, CLEAR
    inner, outer = memory.bags
    bags = (_follow(limits, inner, view, BAGS[0]), _follow(limits, outer, view, BAGS[1]))
    if bags != memory.bags:
        memory = Memory(bags)
    level = max(bags[0].standing.level, bags[1].standing.level)
    if level is Level.CLEAR:
        unread = view.good(BAGS[0]) is None and view.good(BAGS[1]) is None
        return memory, NOT_JUDGED if unread else CLEAR
    return memory, _finding(limits, view, bags, level)


def _lost(limits: Limits, memory: Memory, view: View) -> bool:
    """The run was aborted under this very alarm: no air is no end of low air."""
    if view.phase is not Phase.ABORTED or memory.bags == REST.bags:
        return False
    return hot(view, limits.hot_c) is not False


def _follow(limits: Limits, was: BagMemory, view: View, name: str) -> BagMemory:
    value = view.good(name)
    if value is None:
        return was if view.reading(name) is not None else BagMemory()
    warn_kpa, hottest_k = _warn_kpa(limits, was, view, name)
    below_warn_ns = began_ns(view, was.below_warn_ns, holds=value < warn_kpa)
    below_trip_ns = began_ns(view, was.below_trip_ns, holds=value < limits.trip_kpa)
    demand = Level.CLEAR
    if lasted_s(view, below_trip_ns) >= limits.trip_after_s:
        demand = Level.TRIP
    elif lasted_s(view, below_warn_ns) >= limits.warn_after_s:
        demand = Level.WARN
    standing = stand(
        view,
        was.standing,
        demand,
        away=value >= warn_kpa + limits.deadband_kpa,
        clear_after_s=limits.clear_after_s,
    )
    return BagMemory(below_warn_ns, below_trip_ns, hottest_k, standing)


def _warn_kpa(limits: Limits, was: BagMemory, view: View, name: str) -> tuple[float, float]:
    """The warning limit now, kPa, and the hottest the bag's air has been, K."""
    if view.facts.air_mode is not AirMode.LOCKED_OFF:
        return limits.warn_kpa, 0.0
    now_k = gas_k(view, name, share=limits.gas_share, ambient_c=limits.ambient_c)
    if now_k is None:
        return limits.warn_kpa, was.hottest_k
    hottest_k = max(was.hottest_k, now_k)
    around_kpa = atmosphere_kpa(view.facts.site_altitude_m)
    moved_kpa = (limits.warn_kpa + around_kpa) * now_k / hottest_k - around_kpa
    return max(limits.trip_kpa, moved_kpa), hottest_k


def _finding(
    limits: Limits, view: View, bags: tuple[BagMemory, BagMemory], level: Level
) -> Finding:
    low = [(name, bag) for name, bag in zip(BAGS, bags, strict=True) if bag.standing.level is level]
    limit_kpa = limits.trip_kpa
    if level is Level.WARN:
        limit_kpa = max(_warn_kpa(limits, bag, view, name)[0] for name, bag in low)
    read = ", ".join(_read(view, name) for name, _ in low)
    return Finding(level, f"{read}, limit {limit_kpa:.0f}")


def _read(view: View, name: str) -> str:
    value = view.good(name)
    return f"{title_of(name)} not read" if value is None else f"{title_of(name)} {value:.1f} kPa"
