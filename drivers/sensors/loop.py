"""Current loops of 4 to 20 mA: milliamperes to the channel's unit, with their failure limits.

Source:
    NAMUR NE 43: 3.8 to 20.5 mA is a measurement, 3.6 mA and less or 21.0 mA and
    more is a failure. The bound of an open loop is common practice, no source.
"""

from typing import Literal, Self

from pydantic import BaseModel, model_validator

from drivers.settings import STRICT

MEASURED_LOW_MA, MEASURED_HIGH_MA = 3.8, 20.5
FAILURE_LOW_MA, FAILURE_HIGH_MA = 3.6, 21.0
# A transmitter that still has current takes at least some 3 mA to live on; below
# this there is only the input's own error.
OPEN_MA = 0.5


class LoopSettings(BaseModel):
    """A transmitter in a current loop whose link gives the milliamperes.

    Attributes:
        signal: `loop`; the link's value is in mA.
        at_4_ma: what 4 mA stands for, in the channel's unit.
        at_20_ma: what 20 mA stands for, in the channel's unit.
    """

    model_config = STRICT

    signal: Literal["loop"]
    at_4_ma: float
    at_20_ma: float

    @model_validator(mode="after")
    def _has_a_span(self) -> Self:
        if self.at_4_ma == self.at_20_ma:
            raise ValueError(
                f"at_4_ma and at_20_ma are both {self.at_4_ma:g}, so every current would read the "
                "same; give both ends of the range on the transmitter's plate"
            )
        return self


def loop_value(settings: LoopSettings, signal_ma: float) -> float | str:
    """What a current stands for.

    Args:
        settings: both ends of the transmitter's range.
        signal_ma: current, mA.

    Returns:
        In the channel's unit, or the reason why there is no value:
        `open_circuit` near 0 mA; `failure`, the transmitter or its wiring says
        so; `below_range` or `above_range` between failure and measurement.
    """
    if MEASURED_LOW_MA <= signal_ma <= MEASURED_HIGH_MA:
        share = (signal_ma - 4.0) / 16.0
        return settings.at_4_ma + share * (settings.at_20_ma - settings.at_4_ma)
    if abs(signal_ma) < OPEN_MA:
        return "open_circuit"
    if signal_ma <= FAILURE_LOW_MA or signal_ma >= FAILURE_HIGH_MA:
        return "failure"
    return "below_range" if signal_ma < MEASURED_LOW_MA else "above_range"
