"""Linear voltage outputs: volts to the channel's unit, within the band that is a measurement.

Source:
    Own method: a straight line through two points of the instrument's plate.
"""

from typing import Literal, Self

from pydantic import BaseModel, model_validator

from drivers.settings import STRICT


class VoltageSettings(BaseModel):
    """An instrument with a linear voltage output whose link gives the volts.

    Attributes:
        signal: `voltage`; the link's value is in V.
        low_v: lower of two voltages on the instrument's plate, V.
        at_low_v: what it stands for, in the channel's unit.
        high_v: upper of the two, V.
        at_high_v: what it stands for, in the channel's unit.
        valid_low_v: below this it is no measurement, V; at most `low_v`.
        valid_high_v: above this it is no measurement, V; at least `high_v`.
        open_v: what the input shows with the wire broken, V: this, and what lies
            beyond it as seen from the band, reads `open_circuit`.
        short_v: the same with the wire shorted: `short_circuit`.
    """

    model_config = STRICT

    signal: Literal["voltage"]
    low_v: float
    at_low_v: float
    high_v: float
    at_high_v: float
    valid_low_v: float
    valid_high_v: float
    open_v: float | None = None
    short_v: float | None = None

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if self.low_v >= self.high_v:
            raise ValueError(
                f"low_v = {self.low_v:g} is not below high_v = {self.high_v:g}; give the two "
                "voltages of the instrument's plate, the lower one as low_v"
            )
        if self.at_low_v == self.at_high_v:
            raise ValueError(
                f"at_low_v and at_high_v are both {self.at_low_v:g}, so every voltage would read "
                "the same; give both ends of the range on the instrument's plate"
            )
        if self.valid_low_v > self.low_v:
            raise ValueError(
                f"valid_low_v = {self.valid_low_v:g} is above low_v = {self.low_v:g}, so part of "
                "the range would be refused; give somewhat less than low_v"
            )
        if self.valid_high_v < self.high_v:
            raise ValueError(
                f"valid_high_v = {self.valid_high_v:g} is below high_v = {self.high_v:g}, so part "
                "of the range would be refused; give somewhat more than high_v"
            )
        self._check_faults()
        return self

    def _check_faults(self) -> None:
        for name in ("open_v", "short_v"):
            fault_v = getattr(self, name)
            if fault_v is not None and self.valid_low_v <= fault_v <= self.valid_high_v:
                raise ValueError(
                    f"{name} = {fault_v:g} lies between valid_low_v = {self.valid_low_v:g} and "
                    f"valid_high_v = {self.valid_high_v:g}, where it is a measurement; correct "
                    f"{name}, or remove it if the fault cannot be told from a measurement"
                )
        if self.open_v is None or self.short_v is None:
            return
        if (self.open_v < self.valid_low_v) == (self.short_v < self.valid_low_v):
            raise ValueError(
                f"open_v = {self.open_v:g} and short_v = {self.short_v:g} lie on the same side of "
                "the band, so the two faults could not be told apart; keep the likelier one"
            )


def linear_value(settings: VoltageSettings, signal_v: float) -> float | str:
    """What a voltage stands for.

    Args:
        settings: the line, the band and the faults.
        signal_v: voltage, V.

    Returns:
        In the channel's unit, or the reason why there is no value.
    """
    if settings.valid_low_v <= signal_v <= settings.valid_high_v:
        share = (signal_v - settings.low_v) / (settings.high_v - settings.low_v)
        return settings.at_low_v + share * (settings.at_high_v - settings.at_low_v)
    if _reaches(settings, signal_v, settings.open_v):
        return "open_circuit"
    if _reaches(settings, signal_v, settings.short_v):
        return "short_circuit"
    return "below_range" if signal_v < settings.valid_low_v else "above_range"


def _reaches(settings: VoltageSettings, signal_v: float, fault_v: float | None) -> bool:
    """Whether a voltage outside the band is at a fault's voltage or beyond it."""
    if fault_v is None:
        return False
    return signal_v <= fault_v if fault_v < settings.valid_low_v else signal_v >= fault_v
