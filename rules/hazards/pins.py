"""Pins that are not in while a bag presses: what two hazards share.

`run.pins_not_in` tells it until the bags have been held for the first time,
`release.pins_under_pressure` from then on: what to do is not the same.

Source:
    Locking pins stay in until all air has exhausted: common practice, no source.
    Force is pressure times area.
"""

from dataclasses import dataclass
from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.channels import BAGS
from rules.events import Level
from rules.facts import STRICT, must_rise
from rules.frame import Quality
from rules.hazards.common import QUIET, Standing, began_ns, confirmed, stand, title_of
from rules.phases import Phase
from rules.view import View

SWITCH = "pins_in"
BEFORE_HELD = frozenset({Phase.IDLE, Phase.PREHEAT, Phase.FITTING, Phase.INFLATION})


class PinLimits(BaseModel):
    """Limits of both hazards.

    Attributes:
        warn_kpa: the higher bag warns from here up.
        trip_kpa: and trips from here up.
        deadband_kpa: how far below `warn_kpa` it is over.
        confirm_s: how long, so that one bounce of the switch is not believed.
        clear_after_s: how long it must be over.
        pad_area_m2: for the force told.
    """

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
class Pins:
    """What is remembered.

    Attributes:
        warn_ns: since when the pins have been out under `warn_kpa` or more, ns.
        trip_ns: since when under `trip_kpa` or more, ns.
        standing: what stands.
    """

    warn_ns: int | None = None
    trip_ns: int | None = None
    standing: Standing = QUIET


SAFE = Pins()


def fitted(view: View) -> bool:
    """A pins switch is fitted, and a bag gauge.

    Source:
        Own method.
    """
    values = view.frame.values
    return SWITCH in values and (BAGS[0] in values or BAGS[1] in values)


def at_rest(was: Pins, view: View) -> bool:
    """Nothing stands, the pins are in and every gauge reads: the usual case, quickly seen.

    Source:
        Own method.
    """
    reading = view.frame.values.get(SWITCH)
    return (
        (was is SAFE or was == SAFE)
        and reading is not None
        and reading.value == 1.0
        and reading.quality is Quality.GOOD
        and view.now.lower_kpa is not None
    )


def before_held(view: View) -> bool:
    """The bags have not been held yet: whatever air there is goes in.

    Source:
        Own method.
    """
    return not view.pressurised and view.phase in BEFORE_HELD


def follow(limits: PinLimits, was: Pins, view: View, *, mine: bool) -> Pins:
    """What is remembered after one more frame; `SAFE` when there is nothing.

    Args:
        limits: figures.
        was: so far.
        view: the frame.
        mine: this hazard is the one to speak; what stands goes on whoever is.

    Source:
        Own method.
    """
    pins_in = view.is_on(SWITCH)
    if was == SAFE and (pins_in is not False or not mine):
        return SAFE
    out = pins_in is False
    higher_kpa = max((value for value in view.now.bags if value is not None), default=None)
    unknown = out and mine and _unread(view)
    pressing = -1.0 if higher_kpa is None or not out else higher_kpa
    warn_ns = began_ns(view, was.warn_ns, holds=unknown or pressing >= limits.warn_kpa)
    trip_ns = began_ns(view, was.trip_ns, holds=pressing >= limits.trip_kpa)
    demand = Level.CLEAR
    if confirmed(view, trip_ns, limits.confirm_s):
        demand = Level.TRIP
    elif confirmed(view, warn_ns, limits.confirm_s):
        demand = Level.WARN
    low_kpa = limits.warn_kpa - limits.deadband_kpa
    empty = higher_kpa is not None and not unknown and higher_kpa < low_kpa
    standing = stand(
        view,
        was.standing,
        demand,
        away=pins_in is True or empty,
        clear_after_s=limits.clear_after_s,
    )
    after = Pins(warn_ns, trip_ns, standing)
    if after == SAFE:
        return SAFE
    return was if after == was else after


def _unread(view: View) -> bool:
    """A bag that may press cannot be read."""
    return view.now.lower_kpa is None and (view.pressurised or view.phase is Phase.INFLATION)


def said(limits: PinLimits, view: View) -> str:
    """Which bag presses, and how hard.

    Source:
        Force is pressure times area.
    """
    one_kpa, other_kpa = (-1.0 if value is None else value for value in view.now.bags)
    value_kpa, name = max((one_kpa, BAGS[0]), (other_kpa, BAGS[1]))
    if value_kpa < limits.warn_kpa:
        return "pins out, pressure not known"
    force_kn = value_kpa * limits.pad_area_m2
    return f"pins out, {title_of(name)} {value_kpa:.0f} kPa, {force_kn:.1f} kN on the clamp"
