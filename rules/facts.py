"""What the owner of a rig states about it; the same for every frame of a run.

Source:
    This project's design; figures marked below. Common practice, no source,
    where none is named.
"""

import re
from enum import StrEnum
from itertools import pairwise
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
CLOCK_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
# Written as in ISO 8601; whether that month had the day is the owner's to know.
DATE = re.compile(r"[12][0-9]{3}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])")


def must_rise(limits: BaseModel, *names: str) -> None:
    """Check that limits rise in the order named.

    Args:
        limits: a model of limits.
        names: its fields, lowest first.

    Raises:
        ValueError: two that follow each other do not rise; says which, and both
            ways to mend it.

    Source:
        Own method.
    """
    for early, late in pairwise(names):
        low, high = getattr(limits, early), getattr(limits, late)
        if high <= low:
            raise ValueError(
                f"{late} = {high:g} is not above {early} = {low:g}; raise {late} or lower {early}"
            )


class AirMode(StrEnum):
    """How the bags are held at pressure."""

    RELIEVING = "relieving"
    NON_RELIEVING = "non_relieving"
    LOCKED_OFF = "locked_off"


class Pads(StrEnum):
    """Which pads heat the repair; one alone must be declared."""

    BOTH = "both"
    INNER_ONLY = "inner_only"
    OUTER_ONLY = "outer_only"


class RigFacts(BaseModel):
    """Facts about one rig and its job.

    Attributes:
        title: the rig's name as messages begin with it.
        air_mode: how the bags are held at pressure.
        pads: which pads heat the repair; beside one alone, the other face of the
            repair gives its heat to the air.
        bag_max_kpa: the bag maker's greatest pressure, gauge.
        set_c: temperature the thermostat is set to.
        set_kpa: pressure the bags are set to, gauge (30 psi; 1 psi =
            6.894757 kPa, NIST SP 811).
        cutout_c: setting of the hard-wired thermal cut-out.
        hold_min: the data sheet's time at temperature, min; None: not set,
            then the hold has no planned end.
        site_altitude_m: lowers the boiling point of water.
        closing_time: local time at which the last one goes home, "18:00"; None: not
            stated, then nothing is said about a supply left on.
        commissioned_on: date on which permit, horn, lamps and buttons were last
            tried at the rig, "2026-03-14"; None: never.
        frame_period_s: time between frames, s.
    """

    model_config = STRICT

    title: str = Field(default="RIG", min_length=1, max_length=20)
    air_mode: AirMode = Field(default=AirMode.RELIEVING, strict=False)
    pads: Pads = Field(default=Pads.BOTH, strict=False)
    bag_max_kpa: float = Field(default=345.0, gt=0, le=1000)
    set_c: float = Field(default=140.0, ge=100, le=180)
    set_kpa: float = Field(default=206.84, gt=0, le=600)
    cutout_c: float = Field(default=165.0, ge=100, le=220)
    hold_min: float | None = Field(default=None, gt=0, le=1440)
    site_altitude_m: float = Field(default=0.0, ge=-430, le=5000)
    closing_time: str | None = None
    commissioned_on: str | None = None
    frame_period_s: float = Field(default=1.0, ge=0.1, le=3600)

    @field_validator("closing_time")
    @classmethod
    def _is_a_time(cls, given: str | None) -> str | None:
        if given is not None and not CLOCK_TIME.fullmatch(given):
            raise ValueError(f'"{given}" is no time of day; write hours and minutes, "18:00"')
        return given

    @field_validator("commissioned_on")
    @classmethod
    def _is_a_date(cls, given: str | None) -> str | None:
        if given is not None and not DATE.fullmatch(given):
            raise ValueError(f'"{given}" is no date; write year, month and day, "2026-03-14"')
        return given

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if not self.title.isprintable():
            raise ValueError("title has a line break or a control character; give one plain line")
        if self.set_kpa >= self.bag_max_kpa:
            raise ValueError(
                f"set_kpa = {self.set_kpa:g} is not below bag_max_kpa = {self.bag_max_kpa:g}; "
                "lower set_kpa, or correct bag_max_kpa from the bag's plate"
            )
        return self
