"""An air bag presses too little on a hot repair.

Hazard:
    Too little pressure lets the rubber lift, trap air and turn porous; hot and
    damp, it blows.
Standard:
    30 psi (206.84 kPa) set on each bag; warn below 180, trip below 150 kPa:
    common practice, no source. Deadband 2 % and 15 s: from memory, as a start
    under IEC 62682 / ISA-18.2. Gas law at constant volume for a bag that no
    regulator vents.
Limits:
    `warn_kpa` and `warn_after_s`; `trip_kpa` and `trip_after_s`; `deadband_kpa`
    and `clear_after_s` for the end; `hot_c`, below which a cooling repair no
    longer needs the pressure.
Trips when:
    Either bag has been below 150 kPa for 1 s, that is on the second sample at
    one a second. Warns below 180 kPa for 15 s. Each bag on its own, and only
    once the bags have been held: in air-up once heat is on, in heat-up and in the
    hold, and in cool-down while any pad is as hot as water's boiling point where
    the rig stands, at most 100 C. In cool-down there is no heat left to take away;
    it speaks all the same. With the bags locked off, or on a regulator that does
    not vent, the warning limit follows the modelled temperature of the air: it is
    180 kPa at the hottest the air has been, at 20 C or more, and less by the absolute
    temperature when the air is colder, on a morning of -15 C too. The trip does not
    move. A run that is aborted under this alarm keeps it while hot.
Clears when:
    The bag has been 4 kPa over the warning limit for 15 s, or the pressure is
    no longer needed.
When data is missing:
    A bag that cannot be read keeps what stood. Pads that cannot be read in
    cool-down count as hot; with none the limit does not move.
Not covered:
    A pressure tapped on the wrong side of a closed valve; a bag that presses
    beside the repair; a slow leak that has not come so far (`bag.drift`).
"""

from dataclasses import dataclass
from typing import NamedTuple, Self

from pydantic import BaseModel, Field, model_validator

from rules.air import BagAir
from rules.atmosphere import atmosphere_kpa
from rules.boiling import KELVIN
from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, AirMode, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    hot,
    lasted_s,
    pressure_needed,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View

# A bag set in the cold is set for this temperature of its air, or a warmer one.
REFERENCE_C = 20.0


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

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "trip_kpa", "warn_kpa")
        return self


class BagMemory(NamedTuple):
    """What is remembered of one bag.

    Attributes:
        below_warn_ns: since when it has been below the warning limit, ns.
        below_trip_ns: since when it has been below the trip limit, ns.
        standing: what stands.
    """

    below_warn_ns: int | None = None
    below_trip_ns: int | None = None
    standing: Standing = QUIET


WELL = BagMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """Both bags, in the order of `rules.channels.BAGS`."""

    bags: tuple[BagMemory, BagMemory] = (WELL, WELL)


REST = Memory()

ROW = Row(
    tag="bag.low",
    title="air pressure is too low",
    consequence="the repair turns porous or blows",
    priority=Priority.HIGH,
    warn_do="BRING AIR UP. Do not open.",
    trip_do="BRING AIR UP IF SAFE. Do not open.",
    follows=("bag.burst", "supply.low", "release.hot"),
    told_with=("bag.drift",),
    causes=(
        "a regulator turned down or sagging",
        "a leak of bag, hose or coupling",
        "air let out by mistake",
        "the air supply is down",
    ),
    time_available="minutes: damp in hot rubber boils below 150 kPa",
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
    lower_kpa = view.now.lower_kpa
    if lower_kpa is not None and lower_kpa >= limits.warn_kpa and memory.bags == REST.bags:
        return REST, CLEAR
    if not view.fitted(BAGS):
        return REST, NOT_JUDGED
    if not _needed(limits, memory, view):
        return REST, CLEAR
    inner, outer = memory.bags
    bags = (_follow(limits, inner, view, 0), _follow(limits, outer, view, 1))
    if bags == REST.bags:
        memory = REST
    elif bags[0] is not inner or bags[1] is not outer:
        memory = Memory(bags)
    level = max(bags[0].standing.level, bags[1].standing.level)
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if view.now.bags == (None, None) else CLEAR
    return memory, _finding(limits, view, bags, level)


def _needed(limits: Limits, memory: Memory, view: View) -> bool:
    if pressure_needed(view, limits.hot_c) or _lost(limits, memory, view):
        return True
    # Heat is on before the bags count as held again: the rubber is warming unpressed.
    return view.phase is Phase.INFLATION and view.pressurised and view.heated is True


def _lost(limits: Limits, memory: Memory, view: View) -> bool:
    """The run was aborted under this very alarm: no air is no end of low air."""
    if view.phase is not Phase.ABORTED or memory.bags == REST.bags:
        return False
    return hot(view, limits.hot_c) is not False


def _follow(limits: Limits, was: BagMemory, view: View, place: int) -> BagMemory:
    value = view.now.bags[place]
    if value is None:
        return was if view.reading(BAGS[place]) is not None else WELL
    warn_kpa = _warn_kpa(limits, view, place)
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
    after = BagMemory(below_warn_ns, below_trip_ns, standing)
    return was if after == was else after


def _warn_kpa(limits: Limits, view: View, place: int) -> float:
    """The warning limit now, kPa."""
    bag: BagAir = view.air.bags[place]
    if view.facts.air_mode is AirMode.RELIEVING or bag.gas_c is None:
        return limits.warn_kpa
    colder = (KELVIN + bag.gas_c) / (KELVIN + max(bag.hottest_c, bag.gas_c, REFERENCE_C))
    around_kpa = atmosphere_kpa(view.facts.site_altitude_m)
    return max(limits.trip_kpa, (limits.warn_kpa + around_kpa) * colder - around_kpa)


def _finding(
    limits: Limits, view: View, bags: tuple[BagMemory, BagMemory], level: Level
) -> Finding:
    low = [place for place in (0, 1) if bags[place].standing.level is level]
    limit_kpa = limits.trip_kpa
    if level is Level.WARN:
        limit_kpa = max(_warn_kpa(limits, view, place) for place in low)
    read = ", ".join(_read(view, place) for place in low)
    save_s = _save_s(limits, view, low) if level is Level.WARN else None
    return Finding(level, f"{read}, limit {limit_kpa:.0f}", save_s=save_s)


def _save_s(limits: Limits, view: View, low: list[int]) -> float | None:
    """Time until the first of them is below the trip limit at its present rate, s."""
    times = [
        max(0.0, (value - limits.trip_kpa) / -rate * 3600.0)
        for place in low
        if (value := view.now.bags[place]) is not None
        and (rate := view.air.bags[place].gauge_rate_kpa_per_h) is not None
        and rate < -1.0
    ]
    return min(times, default=None)


def _read(view: View, place: int) -> str:
    value, title = view.now.bags[place], title_of(BAGS[place])
    return f"{title} not read" if value is None else f"{title} {value:.1f} kPa"
