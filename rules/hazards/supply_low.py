"""The air supply is down, or goes down, while the bags still need it.

Hazard:
    A regulator that vents lets its bag back out into a line without pressure, both
    bags at once; another no longer makes up what leaks. Hot, the repair blows.
Standard:
    Common practice, no source. With the mains the compressor goes too.
Limits:
    `spare_kpa` above what the bags are set to, below which the supply is low, for
    `warn_after_s`; `deadband_kpa` and `clear_after_s` for the end; `hot_c`, below
    which a cooling repair no longer needs the pressure; `needed_kpa`, below which no
    bag may fall; `falls_kpa_per_s` and `together_kpa`, at what rate both bags must
    fall, and how far together, for a supply without a gauge to be inferred from them.
Trips when:
    The supply is no longer above the bags and both of them, under a regulator that
    vents, fall. It warns when the supply has been within 100 kPa of what the bags are
    set to for 3 s: in air-up once the bags are held, in heat-up, in the hold, and in
    cool-down while hot. A cool-down with the compressor off is no alarm where nothing
    vents, nor is anything of the supply where the bags are locked off. With no gauge
    on the supply it warns when both bags fall at like rates, by 4 kPa and more at
    once, and are below what a regulator holds: inferred, and said so.
Clears when:
    The supply has been 20 kPa over the limit for 15 s; without a gauge, when the bags
    no longer fall; or the pressure is no longer needed.
When data is missing:
    A supply that cannot be read keeps what stood and is not judged. Without pads
    a repair in cool-down counts as hot.
Not covered:
    A supply that is wet or freezes; one that fails behind its gauge. A bag that
    leaks under a supply that lasts is `bag.drift`'s.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.believed import believed
from rules.events import Horn, Level
from rules.facts import STRICT, AirMode
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    confirmed,
    hot,
    stand,
)
from rules.phases import Phase
from rules.view import View

SUPPLY = "supply_kpa"


class Limits(BaseModel):
    """Limits of `supply.low`; what each is for stands above."""

    model_config = STRICT

    spare_kpa: float = Field(default=100.0, ge=0, le=600)
    warn_after_s: float = Field(default=3.0, ge=0, le=600)
    deadband_kpa: float = Field(default=20.0, ge=0, le=200)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    hot_c: float = Field(default=100.0, ge=50, le=100)
    needed_kpa: float = Field(default=150.0, gt=0, le=600)
    falls_kpa_per_s: float = Field(default=0.05, gt=0, le=5)
    together_kpa: float = Field(default=4.0, gt=0, le=50)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.deadband_kpa > self.spare_kpa:
            raise ValueError(
                f"deadband_kpa = {self.deadband_kpa:g} is above spare_kpa = {self.spare_kpa:g}; "
                "lower deadband_kpa or raise spare_kpa"
            )
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        low_ns: since when the supply has been low, or both bags have fallen, ns.
        standing: what stands.
        told: what was seen when it rose.
    """

    low_ns: int | None = None
    standing: Standing = QUIET
    told: str = ""


REST = Memory()

ROW = Row(
    tag="supply.low",
    title="the air supply is low",
    consequence="both bags go down into the line, and steam opens the hot rubber",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON: close the lock-off valves.",
    trip_do="KEEP AIR ON: close lock-offs. Do not open.",
    warn_horn=Horn.COME_NOW,
    follows=("mains.lost",),
    causes=(
        "the compressor is off or has failed",
        "the main air valve was shut",
        "a hose of the line is off or leaks",
        "others use more than is made",
    ),
    time_available="a minute or two: bags without a check drain with the line",
    rescue="Safe once locked off.",
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
    reading = view.frame.values.get(SUPPLY)
    mode = view.facts.air_mode
    if mode is AirMode.LOCKED_OFF:
        return REST, CLEAR
    if reading is None:
        return _inferred(limits, memory, view)
    supply_kpa = believed(SUPPLY, reading)
    limit_kpa = view.facts.set_kpa + limits.spare_kpa
    rests = memory.low_ns is None and memory.standing.level is Level.CLEAR
    if rests and supply_kpa is not None and supply_kpa >= limit_kpa:
        return memory, CLEAR
    if not _needed(limits, view):
        return REST, CLEAR if supply_kpa is not None else NOT_JUDGED
    if supply_kpa is None:
        if memory.standing.level is Level.CLEAR:
            return REST, NOT_JUDGED
        return memory, Finding(memory.standing.level, memory.told)
    low_ns = began_ns(view, memory.low_ns, holds=supply_kpa < limit_kpa)
    demand = Level.WARN if confirmed(view, low_ns, limits.warn_after_s) else Level.CLEAR
    if demand is Level.WARN and _drains(limits, view, supply_kpa):
        demand = Level.TRIP
    away = supply_kpa >= limit_kpa + limits.deadband_kpa
    said = f"air supply {supply_kpa:.0f} kPa, bags need {view.facts.set_kpa:.0f}"
    return _told(limits, memory, view, low_ns, demand, said, away=away)


def _needed(limits: Limits, view: View) -> bool:
    if not view.pressurised:
        return False
    if view.phase is Phase.COOL_DOWN:
        vents = view.facts.air_mode is AirMode.RELIEVING
        return vents and hot(view, limits.hot_c) is not False
    return view.phase in (Phase.INFLATION, Phase.HEAT_UP, Phase.CURE)


def _falls_kpa_per_s(view: View) -> float:
    """How fast the bag falls that falls the less, kPa/s; below 0 it rises."""
    one, other = view.air.bags
    return min(-one.fast_kpa_per_s, -other.fast_kpa_per_s)


def _drains(limits: Limits, view: View, supply_kpa: float) -> bool:
    higher_kpa = view.now.higher_kpa
    if view.facts.air_mode is not AirMode.RELIEVING or higher_kpa is None:
        return False
    return supply_kpa < higher_kpa and _falls_kpa_per_s(view) > limits.falls_kpa_per_s


def _inferred(limits: Limits, memory: Memory, view: View) -> tuple[Memory, Finding]:
    """No gauge on the supply: both bags fall together at like rates."""
    one, other = view.air.bags
    rests = memory.low_ns is None and memory.standing.level is Level.CLEAR
    if rests and (one.track is None or one.track.moving_ns is None):
        return memory, NOT_JUDGED
    if not _needed(limits, view) or one.track is None or other.track is None:
        return REST, NOT_JUDGED
    falls = _falls_kpa_per_s(view)
    faster = max(-one.fast_kpa_per_s, -other.fast_kpa_per_s)
    together_kpa = min(one.fell_60_kpa, other.fell_60_kpa)
    both = falls > limits.falls_kpa_per_s and faster < 2 * falls
    low_ns = began_ns(view, memory.low_ns, holds=both and together_kpa >= limits.together_kpa)
    demand = Level.WARN if confirmed(view, low_ns, limits.warn_after_s) else Level.CLEAR
    said = f"inferred: both bags fall by {falls * 60:.0f} kPa/min"
    away = falls < limits.falls_kpa_per_s / 2
    memory, finding = _told(limits, memory, view, low_ns, demand, said, away=away)
    return memory, NOT_JUDGED if finding is CLEAR else finding


def _told(
    limits: Limits,
    was: Memory,
    view: View,
    low_ns: int | None,
    demand: Level,
    said: str,
    *,
    away: bool,
) -> tuple[Memory, Finding]:
    standing = stand(view, was.standing, demand, away=away, clear_after_s=limits.clear_after_s)
    rose = standing.level > was.standing.level
    told = said if rose else was.told
    if standing.level is Level.CLEAR:
        told = ""
    after = Memory(low_ns, standing, told)
    memory = REST if after == REST else was if after == was else after
    if standing.level is Level.CLEAR:
        return memory, CLEAR
    return memory, Finding(standing.level, told, save_s=_save_s(limits, view))


def _save_s(limits: Limits, view: View) -> float | None:
    """Time until the lower bag is below what is needed at the rate it falls, s."""
    falls, lower_kpa = _falls_kpa_per_s(view), view.now.lower_kpa
    if lower_kpa is None or falls <= limits.falls_kpa_per_s:
        return None
    return max(0.0, (lower_kpa - limits.needed_kpa) / falls)
