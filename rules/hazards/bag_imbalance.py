"""The two air bags press unlike each other.

Hazard:
    The section is pushed to one side and set crooked, and pressed too little from
    the other: 65 kPa on 0.3 m2 are 20 kN, the weight of two tonnes.
Standard:
    20 kPa for 1 min, 50 kPa for 2 min while air goes in: common practice, no source.
    Gas law at constant volume for what unlike warmth of the air explains.
Limits:
    `apart_kpa` for `warn_after_s`; `filling_apart_kpa` for `filling_after_s` while
    air goes in; `deadband_kpa` and `clear_after_s` for the end; `hot_c`, below which
    a cooling repair no longer needs the pressure; `empty_kpa`, from which a bag is
    being filled.
Trips when:
    Never; it warns. The bags are apart by 20 kPa for 1 min, on the gauges and also
    brought to one temperature, so that a bag that is only warmer is not told: once
    the bags have been held, in air-up, in heat-up, in the hold and in cool-down
    while hot. While either is filled or trimmed, and until the bags have been held:
    by 50 kPa for 2 min. Bags may be filled one after the other in that time.
Clears when:
    They have been within 16 kPa for 15 s, or the pressure is no longer needed.
When data is missing:
    A bag that cannot be read: what stood goes on standing, nothing begins. With no
    pad believed the gauges alone count.
Not covered:
    A let-down of cold bags, one of which may be slower. A gauge that reads wrong
    looks the same as a bag that is wrong.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.air import REFERENCE_K, Doing
from rules.boiling import KELVIN
from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row, Urgency
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    confirmed,
    pressure_needed,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View

MOVING = frozenset({Doing.FILLING, Doing.TRIM, Doing.REFILL, Doing.LETTING_DOWN})


class Limits(BaseModel):
    """Limits of `bag.imbalance`; what each is for stands above."""

    model_config = STRICT

    apart_kpa: float = Field(default=20.0, gt=0, le=200)
    warn_after_s: float = Field(default=60.0, ge=0, le=1800)
    filling_apart_kpa: float = Field(default=50.0, gt=0, le=300)
    filling_after_s: float = Field(default=120.0, ge=0, le=1800)
    deadband_kpa: float = Field(default=4.0, ge=0, le=50)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)
    hot_c: float = Field(default=100.0, ge=50, le=100)
    empty_kpa: float = Field(default=10.0, ge=1, le=50)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "deadband_kpa", "apart_kpa", "filling_apart_kpa")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        apart_ns: since when they have been apart, ns.
        far_apart_ns: since when they have been as far apart as filling may not be, ns.
        standing: what stands.
        told: what was seen when it rose.
    """

    apart_ns: int | None = None
    far_apart_ns: int | None = None
    standing: Standing = QUIET
    told: str = ""


REST = Memory()

ROW = Row(
    tag="bag.imbalance",
    title="the air bags press unlike",
    consequence="the section is pushed aside and sets crooked and porous",
    priority=Priority.MEDIUM,
    warn_do="KEEP AIR ON. Bring both bags to the mark.",
    trip_do="",
    warn_urgency=Urgency.GO_BY,
    follows=("bag.burst", "bag.low", "bag.high", "bag.drift", "supply.low"),
    causes=(
        "a regulator set wrong or creeping",
        "one bag not filled or leaking",
        "a gauge that reads wrong",
    ),
    time_available="some 10 min until rubber that still flows sets as it lies",
    rescue="Saveable until rubber sets.",
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
    one_kpa, other_kpa = view.now.bags
    if one_kpa is None or other_kpa is None:
        return _unread(memory, view)
    gauge_kpa = abs(one_kpa - other_kpa)
    if gauge_kpa <= limits.apart_kpa - limits.deadband_kpa and memory.standing.level is Level.CLEAR:
        return REST, CLEAR
    if not _needed(limits, view, min(one_kpa, other_kpa), max(one_kpa, other_kpa)):
        return REST, CLEAR
    memory = _followed(limits, memory, view, _apart_kpa(view, gauge_kpa))
    if memory.standing.level is Level.CLEAR:
        return memory, CLEAR
    return memory, Finding(memory.standing.level, memory.told)


def _unread(memory: Memory, view: View) -> tuple[Memory, Finding]:
    if not all(name in view.frame.values for name in BAGS):
        return REST, NOT_JUDGED
    if memory.standing.level is Level.CLEAR:
        return REST, NOT_JUDGED
    return memory, Finding(memory.standing.level, memory.told)


def _needed(limits: Limits, view: View, lower_kpa: float, higher_kpa: float) -> bool:
    if view.phase is Phase.INFLATION:
        return higher_kpa > limits.empty_kpa
    # A bag let down hot is `release.hot`'s.
    return pressure_needed(view, limits.hot_c) and lower_kpa > limits.empty_kpa


def _apart_kpa(view: View, gauge_kpa: float) -> float:
    """How far apart the gauges are, and would be with the air in both equally warm, kPa."""
    one, other = view.air.bags
    if one.gas_c is None or other.gas_c is None:
        return gauge_kpa
    if one.corrected_kpa is None or other.corrected_kpa is None:
        return gauge_kpa
    between_k = KELVIN + (one.gas_c + other.gas_c) / 2
    apart_kpa = abs(one.corrected_kpa - other.corrected_kpa) * between_k / REFERENCE_K
    return min(gauge_kpa, apart_kpa)


def _followed(limits: Limits, was: Memory, view: View, apart_kpa: float) -> Memory:
    filling = not view.pressurised or any(bag.doing in MOVING for bag in view.air.bags)
    apart_ns = began_ns(view, was.apart_ns, holds=apart_kpa > limits.apart_kpa and not filling)
    far = apart_kpa > limits.filling_apart_kpa
    far_apart_ns = began_ns(view, was.far_apart_ns, holds=far)
    told = confirmed(view, apart_ns, limits.warn_after_s) or confirmed(
        view, far_apart_ns, limits.filling_after_s
    )
    standing = stand(
        view,
        was.standing,
        Level.WARN if told else Level.CLEAR,
        away=apart_kpa < limits.apart_kpa - limits.deadband_kpa,
        clear_after_s=limits.clear_after_s,
    )
    said = was.told
    if standing.level is Level.CLEAR:
        said = ""
    elif was.standing.level is Level.CLEAR:
        said = _said(view)
    after = Memory(apart_ns, far_apart_ns, standing, said)
    if after == REST:
        return REST
    return was if after == was else after


def _said(view: View) -> str:
    return ", ".join(
        f"{title_of(name)} {value:.0f} kPa"
        for name, value in zip(BAGS, view.now.bags, strict=True)
        if value is not None
    )
