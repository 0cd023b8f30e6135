"""An air bag is pressed harder than it should be.

Hazard:
    A bag that bursts, or a clamp that gives, strikes whoever stands by: 20 litre at
    310 kPa hold 15 kJ (Brode), and on 0.3 m2 they push with 93 kN.
Standard:
    Warn above 240 kPa, trip at nine tenths of the bag maker's greatest pressure:
    common practice, no source. Gas law at constant volume for a bag that no
    regulator vents: 207 kPa at 20 C are 291 at 100 C, and healthy.
Limits:
    `warn_kpa` and `warn_after_s`; `trip_share` of the greatest pressure on the bag's
    plate, and `trip_after_s`; `deadband_kpa` and `clear_after_s` for the end.
Trips when:
    Either bag has been above nine tenths of its greatest pressure for 1 s, in any
    phase: the heat that drives it up is taken away. Warns above 240 kPa for 15 s;
    with the bags locked off, or on a regulator that does not vent, that limit rises
    with the modelled temperature of the air since it came to rest after filling or
    a trim, as far as the trip. Not while the bags are being filled.
Clears when:
    The bag has been 5 kPa below the warning limit for 15 s.
When data is missing:
    A bag that cannot be read keeps what stood. With no pad believed the limit does
    not move.
Not covered:
    A gauge that reads too low; a bag weaker than its plate says. The relief valve
    stays, and stays independent.
"""

from dataclasses import dataclass
from typing import NamedTuple, Self

from pydantic import BaseModel, Field, model_validator

from rules.air import Doing
from rules.atmosphere import atmosphere_kpa
from rules.boiling import KELVIN
from rules.channels import BAGS
from rules.events import Horn, Level
from rules.facts import STRICT, AirMode
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import QUIET, Standing, began_ns, lasted_s, stand, title_of
from rules.phases import Phase
from rules.view import View

# As often as the model of the air is.
LOOK_S = 3.0


class Limits(BaseModel):
    """Limits of `bag.high`; what each is for stands above."""

    model_config = STRICT

    warn_kpa: float = Field(default=240.0, gt=0, le=900)
    warn_after_s: float = Field(default=15.0, ge=0, le=600)
    trip_share: float = Field(default=0.9, gt=0.5, le=1)
    trip_after_s: float = Field(default=1.0, ge=0, le=60)
    deadband_kpa: float = Field(default=5.0, ge=0, le=50)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.deadband_kpa >= self.warn_kpa:
            raise ValueError(
                f"deadband_kpa = {self.deadband_kpa:g} is not below warn_kpa = "
                f"{self.warn_kpa:g}; lower deadband_kpa"
            )
        return self


class BagMemory(NamedTuple):
    """What is remembered of one bag.

    Attributes:
        above_warn_ns: since when it has been above the warning limit, ns.
        above_trip_ns: since when it has been above the trip limit, ns.
        standing: what stands.
    """

    above_warn_ns: int | None = None
    above_trip_ns: int | None = None
    standing: Standing = QUIET


WELL = BagMemory()


@dataclass(frozen=True, slots=True)
class Memory:
    """Both bags, in the order of `rules.channels.BAGS`."""

    bags: tuple[BagMemory, BagMemory] = (WELL, WELL)


REST = Memory()

ROW = Row(
    tag="bag.high",
    title="air pressure is too high",
    consequence="a bag bursts or the clamp gives, and strikes who stands by",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Ease it to the mark by the gauge.",
    trip_do="STAND CLEAR. Ease air to the mark. Never open.",
    trip_horn=Horn.STAND_CLEAR,
    follows=("link.stale", "pad.sensor", "pad.not_heating"),
    causes=(
        "a regulator set too high or creeping",
        "a vent that is stuck",
        "a bag shut in while it warms",
    ),
    time_available="6 min or more from 240 to 310 kPa, where heat goes off",
    rescue="",
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
    if memory.bags == REST.bags:
        if (one_kpa or 0.0) <= limits.warn_kpa >= (other_kpa or 0.0):
            return REST, NOT_JUDGED if one_kpa is None and other_kpa is None else CLEAR
        if _warm(limits, view, max(one_kpa or 0.0, other_kpa or 0.0)):
            return REST, CLEAR
    inner, outer = memory.bags
    bags = (_follow(limits, inner, view, 0), _follow(limits, outer, view, 1))
    if bags == REST.bags:
        memory = REST
    elif bags[0] is not inner or bags[1] is not outer:
        memory = Memory(bags)
    level = max(bags[0].standing.level, bags[1].standing.level)
    if level is Level.CLEAR:
        return memory, NOT_JUDGED if one_kpa is None and other_kpa is None else CLEAR
    return memory, _finding(limits, view, bags, level)


def _warm(limits: Limits, view: View, highest_kpa: float) -> bool:
    """Not the time for a look at a sealed bag, which is above the band for hours."""
    if view.facts.air_mode is AirMode.RELIEVING or view.due(LOOK_S):
        return False
    return highest_kpa <= _trip_kpa(limits, view)


def _follow(limits: Limits, was: BagMemory, view: View, place: int) -> BagMemory:
    value = view.now.bags[place]
    if value is None:
        return was if view.reading(BAGS[place]) is not None else WELL
    warn_kpa = _warn_kpa(limits, view, place)
    if value <= warn_kpa and was == WELL:
        return WELL
    above_warn_ns = began_ns(view, was.above_warn_ns, holds=value > warn_kpa)
    above_trip_ns = began_ns(view, was.above_trip_ns, holds=value > _trip_kpa(limits, view))
    filling = view.phase is Phase.INFLATION and view.air.bags[place].doing is Doing.FILLING
    demand = Level.CLEAR
    if lasted_s(view, above_trip_ns) >= limits.trip_after_s:
        demand = Level.TRIP
    elif lasted_s(view, above_warn_ns) >= limits.warn_after_s and not filling:
        demand = Level.WARN
    standing = stand(
        view,
        was.standing,
        demand,
        away=value < warn_kpa - limits.deadband_kpa,
        clear_after_s=limits.clear_after_s,
    )
    after = BagMemory(above_warn_ns, above_trip_ns, standing)
    if after == WELL:
        return WELL
    return was if after == was else after


def _trip_kpa(limits: Limits, view: View) -> float:
    return limits.trip_share * view.facts.bag_max_kpa


def _warn_kpa(limits: Limits, view: View, place: int) -> float:
    """The warning limit now, kPa."""
    trip_kpa = _trip_kpa(limits, view)
    bag = view.air.bags[place]
    if view.facts.air_mode is AirMode.RELIEVING or bag.gas_c is None:
        return min(limits.warn_kpa, trip_kpa)
    warmer = max(1.0, (KELVIN + bag.gas_c) / (KELVIN + bag.settled_c))
    around_kpa = atmosphere_kpa(view.facts.site_altitude_m)
    return min(trip_kpa, (limits.warn_kpa + around_kpa) * warmer - around_kpa)


def _finding(
    limits: Limits, view: View, bags: tuple[BagMemory, BagMemory], level: Level
) -> Finding:
    high = [place for place in (0, 1) if bags[place].standing.level is level]
    limit_kpa = _trip_kpa(limits, view)
    if level is Level.WARN:
        limit_kpa = min(_warn_kpa(limits, view, place) for place in high)
    read = ", ".join(_read(view, place) for place in high)
    return Finding(level, f"{read}, limit {limit_kpa:.0f}")


def _read(view: View, place: int) -> str:
    value, title = view.now.bags[place], title_of(BAGS[place])
    return f"{title} not read" if value is None else f"{title} {value:.0f} kPa"
