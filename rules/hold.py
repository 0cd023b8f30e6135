"""The hold clock: how long the coldest pad has been hot under pressure.

It is a clock over the pads, not the cure of the rubber between them.

Source:
    This project's design, "Cure"; 120 °C is common practice, no source.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field, model_validator

from rules.facts import STRICT
from rules.phases import Phase
from rules.signals import Now


class HoldLimits(BaseModel):
    """When the hold clock runs.

    Attributes:
        starts_c: the coldest pad must reach this.
        pauses_c: the clock pauses below this.
        pressure_kpa: the lower bag must have at least this.
    """

    model_config = STRICT

    starts_c: float = Field(default=120.0, ge=60, le=180)
    pauses_c: float = Field(default=115.0, ge=50, le=180)
    pressure_kpa: float = Field(default=150.0, gt=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> "HoldLimits":
        if self.pauses_c > self.starts_c:
            raise ValueError(
                f"pauses_c = {self.pauses_c:g} is above starts_c = {self.starts_c:g}; "
                "lower pauses_c or raise starts_c"
            )
        return self


@dataclass(frozen=True, slots=True)
class Hold:
    """The hold clock of one run.

    Attributes:
        held_s: time counted so far, s.
        running: it counts now.
        over: the planned end was reached and said.
    """

    held_s: float = 0.0
    running: bool = False
    over: bool = False


def tick(limits: HoldLimits, hold: Hold, phase: Phase, now: Now, dt_s: float) -> Hold:
    """The hold clock after one more frame.

    Args:
        limits: when it runs.
        hold: so far.
        phase: counted in heat up and hold only.
        now: the frame's digest; what cannot be read does not count.
        dt_s: time since the frame before, s; pass 0 across a gap, so that
            unseen time never counts as cure.

    Source:
        This project's design, "Cure".
    """
    cold_c, low_kpa = now.coldest_c, now.lower_kpa
    runs = (
        phase in (Phase.HEAT_UP, Phase.CURE)
        and cold_c is not None
        and low_kpa is not None
        and low_kpa >= limits.pressure_kpa
        and cold_c >= (limits.pauses_c if hold.running else limits.starts_c)
    )
    if not runs and not hold.running:
        return hold
    counted_s = dt_s if runs and hold.running else 0.0
    return Hold(hold.held_s + counted_s, runs, hold.over)
