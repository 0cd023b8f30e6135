"""The air is going, or is about to be let go, while the repair is hot.

Hazard:
    Damp in the rubber boils when the pressure goes: the repair blows, and hot
    air, talc and rubber may strike whoever stands near.
Standard:
    Pressure is held until the repair has cooled below 100 C: common practice,
    no source. At 207 kPa gauge water boils at about 134 C (IAPWS R7-97). Local
    boiling point from the standard atmosphere (ISO 2533) and IAPWS R7-97.
Limits:
    `hot_c`, and never more than the local boiling point less 5 C, above which
    nothing is opened; `deadband_c` for its end; `fall_kpa` within `within_s`;
    `band_kpa`, above which a fall is a trim and pressure is back; `low_kpa`;
    `confirm_s`, so that one rogue sample is not believed; `clear_after_s`.
Trips when:
    While any pad is above the threshold a bag that was held is below 150 kPa,
    or has lost 30 kPa within 60 s and is below 180, for 1 s. So does a rig
    found hot with its air gone. A request to release alone, the air still up,
    warns with the horn for "come now": do not open.
Clears when:
    For 15 s every pad has been 2 C below the threshold, or every bag is back at
    180 kPa and nobody asks for release.
When data is missing:
    A pad that cannot be read counts as hot if it last read hot. A bag that
    cannot be read is left out; with none, only a request is judged and what
    stood goes on standing. After a gap in the frames falls are seen afresh.
Not covered:
    The inside of the repair, which is hotter than the pads for half an hour and
    more on thick sections: its estimate comes with a later rule. One rogue
    sample upwards on a hot bag already below 180 kPa looks like a loss.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS, PADS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.frame import NS_PER_S
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    confirmed,
    hot_above_c,
    stand,
    title_of,
)
from rules.phases import Phase
from rules.view import View
from rules.window import Window

PUSH_EVERY_NS = 2 * NS_PER_S


class Limits(BaseModel):
    """Limits of `release.hot`; what each is for stands above."""

    model_config = STRICT

    hot_c: float = Field(default=100.0, ge=50, le=100)
    deadband_c: float = Field(default=2.0, ge=0, le=10)
    fall_kpa: float = Field(default=30.0, gt=0, le=300)
    within_s: float = Field(default=60.0, ge=5, le=600)
    band_kpa: float = Field(default=180.0, gt=0, le=600)
    low_kpa: float = Field(default=150.0, gt=0, le=600)
    confirm_s: float = Field(default=1.0, ge=0, le=10)
    clear_after_s: float = Field(default=15.0, ge=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "low_kpa", "band_kpa")
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        pads_c: last good reading of each pad, °C, in the order of
            `rules.channels.PADS`; None before the first.
        bags: the last minute of each bag, kPa, in the order of
            `rules.channels.BAGS`.
        losing_ns: since when air has been going while hot, ns.
        standing: what stands.
    """

    pads_c: tuple[float | None, float | None] = (None, None)
    bags: tuple[Window, Window] = (Window(60.0), Window(60.0))
    losing_ns: int | None = None
    standing: Standing = QUIET


REST = Memory()

ROW = Row(
    tag="release.hot",
    title="air is going while the repair is hot",
    consequence="the repair blows and may strike someone",
    priority=Priority.HIGH,
    warn_do="KEEP AIR ON. Do not open.",
    trip_do="REFILL AIR IF SAFE, shut the exhaust. Do not open.",
    warn_horn=Horn.COME_NOW,
    follows=("bag.burst",),
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
    values = (view.good(BAGS[0]), view.good(BAGS[1]))
    pads_c = (_last_c(memory, view, 0), _last_c(memory, view, 1))
    if pads_c == (None, None) or not (view.fitted(BAGS) or view.reading("release_request")):
        return REST, NOT_JUDGED
    bags = (
        _pushed(limits, memory.bags[0], view, values[0]),
        _pushed(limits, memory.bags[1], view, values[1]),
    )
    threshold_c = hot_above_c(view.facts, limits.hot_c)
    hottest_c = max(value for value in pads_c if value is not None)
    hot = hottest_c > threshold_c
    losing = _losing(limits, bags, view, values) if hot else ""
    losing_ns = began_ns(view, memory.losing_ns, holds=bool(losing))
    asked = hot and view.is_on("release_request") is True
    demand = Level.WARN if asked else Level.CLEAR
    if confirmed(view, losing_ns, limits.confirm_s):
        demand = Level.TRIP
    cool = hottest_c < threshold_c - limits.deadband_c
    standing = stand(
        view,
        memory.standing,
        demand,
        away=cool or (not asked and _back(limits, view, values)),
        clear_after_s=limits.clear_after_s,
    )
    memory = Memory(pads_c, bags, losing_ns, standing)
    if standing.level is Level.CLEAR:
        return memory, CLEAR
    return memory, Finding(standing.level, _said(standing.level, losing, pads_c, threshold_c))


def _last_c(memory: Memory, view: View, index: int) -> float | None:
    name = PADS[index]
    if view.reading(name) is None:
        return None
    value = view.good(name)
    return memory.pads_c[index] if value is None else value


def _pushed(limits: Limits, was: Window, view: View, value: float | None) -> Window:
    if view.gap_s > 0 or was.span_s != limits.within_s:
        was = Window(limits.within_s)
    if value is None:
        return was
    # A reading every 2 s shows what a minute lost, at half the work.
    recent = was.buckets and view.now_ns - was.buckets[-1].end_ns < PUSH_EVERY_NS
    return was if recent else was.push(view.now_ns, value)


def _losing(
    limits: Limits,
    bags: tuple[Window, Window],
    view: View,
    values: tuple[float | None, float | None],
) -> str:
    """Which bag is losing air and how, in words; empty when none is."""
    held = view.pressurised or view.phase is Phase.ABORTED
    for name, window, value in zip(BAGS, bags, values, strict=True):
        high = window.high
        if value is None or high is None or value >= limits.band_kpa:
            continue
        if high - value >= limits.fall_kpa:
            return f"{title_of(name)} {value:.0f} kPa, -{high - value:.0f}"
        if held and value < limits.low_kpa:
            return f"{title_of(name)} {value:.0f} kPa"
    return ""


def _back(limits: Limits, view: View, values: tuple[float | None, float | None]) -> bool:
    """Every fitted bag reads well and is back in its band."""
    fitted = [value for name, value in zip(BAGS, values, strict=True) if view.reading(name)]
    return bool(fitted) and all(value is not None and value >= limits.band_kpa for value in fitted)


def _said(
    level: Level, losing: str, pads_c: tuple[float | None, float | None], threshold_c: float
) -> str:
    hottest_c, index = max(
        (value, index) for index, value in enumerate(pads_c) if value is not None
    )
    pad = f"{title_of(PADS[index])} {hottest_c:.0f} C, limit {threshold_c:.0f}"
    if level is Level.WARN:
        return f"release asked for, {pad}"
    return f"{losing or 'air was lost'}, {pad}"
