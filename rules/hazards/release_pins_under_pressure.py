"""The clamp's pins are out while a bag still presses.

Hazard:
    10 kPa on 0.3 m2 is still 3 kN, what four grown men weigh: a clamp whose
    pins are out flies open, onto whoever pulled them.
Standard:
    Locking pins are never removed until all air has exhausted: common practice,
    no source. Force is pressure times area.
Limits:
    `warn_kpa` and `trip_kpa` for the higher bag; `deadband_kpa` and
    `clear_after_s` for the end; `pad_area_m2` for the force told; `confirm_s`,
    so that one bounce of the switch is not believed.
Trips when:
    The pins are out (as they are, not as they are pulled) and a bag is at
    10 kPa or more, for 1 s and in any phase. Warns from 5 kPa.
Clears when:
    For 2 s the pins have been in, or both bags at least 1 kPa below 5 kPa.
When data is missing:
    No pins switch fitted: not judged. A switch that cannot be read keeps what
    stood. A bag that was held and cannot be read now counts as unknown and
    warns.
Not covered:
    Pins that are in but not seated; a clamp that is bent; air trapped behind a
    closed valve that the gauge does not see.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS
from rules.events import Horn, Level
from rules.facts import STRICT, must_rise
from rules.hazards.base import CLEAR, NOT_JUDGED, Finding, Priority, Row
from rules.hazards.common import (
    QUIET,
    Standing,
    began_ns,
    confirmed,
    stand,
    title_of,
)
from rules.view import View


class Limits(BaseModel):
    """Limits of `release.pins_under_pressure`; what each is for stands above."""

    model_config = STRICT

    warn_kpa: float = Field(default=5.0, gt=0, le=20)
    trip_kpa: float = Field(default=10.0, gt=0, le=20)
    deadband_kpa: float = Field(default=1.0, ge=0, le=10)
    confirm_s: float = Field(default=1.0, ge=0, le=10)
    clear_after_s: float = Field(default=2.0, ge=0, le=60)
    pad_area_m2: float = Field(default=0.3, gt=0, le=5)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        must_rise(self, "warn_kpa", "trip_kpa")
        if self.deadband_kpa >= self.warn_kpa:
            raise ValueError(
                f"deadband_kpa = {self.deadband_kpa:g} is not below warn_kpa = "
                f"{self.warn_kpa:g}, so an empty bag could never end the alarm; lower deadband_kpa"
            )
        return self


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered.

    Attributes:
        warn_ns: since when the pins have been out under 5 kPa or more, ns.
        trip_ns: since when under 10 kPa or more, ns.
        standing: what stands.
    """

    warn_ns: int | None = None
    trip_ns: int | None = None
    standing: Standing = QUIET


REST = Memory()

ROW = Row(
    tag="release.pins_under_pressure",
    title="pins out while there is air in a bag",
    consequence="the clamp flies open onto whoever is near",
    priority=Priority.HIGH,
    warn_do="AIR IS STILL IN. Do not touch the clamp.",
    trip_do="AIR IS STILL IN: stand clear of the clamp.",
    warn_horn=Horn.COME_NOW,
    trip_horn=Horn.STAND_CLEAR,
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
    if view.reading("pins_in") is None or not view.fitted(BAGS):
        return REST, NOT_JUDGED
    pins_in = view.is_on("pins_in")
    values = view.bags_kpa
    if pins_in is True and memory.standing is QUIET:
        return REST, CLEAR
    out = pins_in is False
    higher = max(values.items(), key=lambda item: item[1], default=None)
    higher_kpa = higher[1] if higher else 0.0
    unknown = out and view.pressurised and len(values) < len(view.fitted(BAGS))
    warn_ns = began_ns(
        view, memory.warn_ns, holds=out and (unknown or higher_kpa >= limits.warn_kpa)
    )
    trip_ns = began_ns(view, memory.trip_ns, holds=out and higher_kpa >= limits.trip_kpa)
    demand = Level.CLEAR
    if confirmed(view, trip_ns, limits.confirm_s):
        demand = Level.TRIP
    elif confirmed(view, warn_ns, limits.confirm_s):
        demand = Level.WARN
    empty = bool(values) and not unknown and higher_kpa < limits.warn_kpa - limits.deadband_kpa
    standing = stand(
        view,
        memory.standing,
        demand,
        away=pins_in is True or empty,
        clear_after_s=limits.clear_after_s,
    )
    after = Memory(warn_ns, trip_ns, standing)
    memory = memory if after == memory else after
    if standing.level is Level.CLEAR:
        return memory, NOT_JUDGED if pins_in is None else CLEAR
    return memory, Finding(standing.level, _said(limits, higher))


def _said(limits: Limits, higher: tuple[str, float] | None) -> str:
    if higher is None or higher[1] < limits.warn_kpa:
        return "pins out, pressure not known"
    name, value = higher
    force_kn = value * limits.pad_area_m2
    return f"pins out, {title_of(name)} {value:.0f} kPa, {force_kn:.1f} kN on the clamp"
