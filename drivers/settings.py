"""What settings of every kind of link share: strictness, and a number made a value."""

import math
from typing import Self

from pydantic import BaseModel, ConfigDict, model_validator

STRICT = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class ScaledSettings(BaseModel):
    """How a number read becomes a value, and between which bounds it is one.

    Attributes:
        scale: engineering units per unit read.
        offset: added after scaling, engineering units.
        range_low: below this the reading is bad, engineering units.
        range_high: above this the reading is bad, engineering units.
    """

    model_config = STRICT

    scale: float = 1.0
    offset: float = 0.0
    range_low: float | None = None
    range_high: float | None = None

    @model_validator(mode="after")
    def _check_scaling(self) -> Self:
        if self.scale == 0:
            raise ValueError(
                "scale = 0 would read everything as one value; give units per unit read"
            )
        low, high = self.range_low, self.range_high
        if low is not None and high is not None and low >= high:
            raise ValueError(
                f"range_low = {low:g} is not below range_high = {high:g}; lower range_low or raise "
                "range_high"
            )
        return self


def scaled(settings: ScaledSettings, number: float) -> tuple[float | None, str]:
    """A number's value.

    Args:
        settings: scale and bounds.
        number: as read; infinities and NaN too.

    Returns:
        The value in the point's unit and no reason, or none and the reason.
    """
    value = number * settings.scale + settings.offset
    if not math.isfinite(value):
        return None, "not_a_number"
    if settings.range_low is not None and value < settings.range_low:
        return None, "below_range"
    if settings.range_high is not None and value > settings.range_high:
        return None, "above_range"
    return value, ""
