"""What a person observed when an instrument was compared with a reference, and what it corrects.

The observation is recorded, not a factor that somebody worked out of it.

Source:
    Own method: the straight line through the two points observed. The bounds are
    common practice, no source.
"""

from datetime import date
from typing import Self

from pydantic import BaseModel, Field, model_validator

from drivers.settings import STRICT

# About what a sound chain may be off: 2.5 °C a thermocouple of class 2, 2 °C its
# module; 0.5 % a transducer of 1000 kPa. What is further off is broken.
ZERO_ERROR_MAX = 5.0
# The same at 140 °C, with the extension lead's 2.5 °C: 7 °C.
SPAN_ERROR_FRACTION_MAX = 0.05
# A second point too close to the first would multiply what was misread there.
SPAN_AT_MIN = 20.0


class CorrectionSettings(BaseModel):
    """What was observed at the last comparison with a reference, without any correction.

    Attributes:
        on: the day, a date without quotes, like 2026-10-01.
        by: initials of who did it.
        zero_reads: what the channel read at true zero, in its unit: in melting
            ice a temperature, vented to the air a pressure.
        span_at: what the reference said at a second point, in the channel's unit.
        span_reads: what the channel read there, in its unit.
    """

    model_config = STRICT

    on: date
    by: str = Field(default="", max_length=40)
    zero_reads: float
    span_at: float | None = None
    span_reads: float | None = None

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if abs(self.zero_reads) > ZERO_ERROR_MAX:
            raise ValueError(
                f"zero_reads = {self.zero_reads:g} is more than {ZERO_ERROR_MAX:g} from zero: no "
                "correction but a fault of sensor, lead, wiring or setting; find and mend it"
            )
        if (self.span_at is None) != (self.span_reads is None):
            given, lacking = ("span_at", "span_reads")
            if self.span_at is None:
                given, lacking = lacking, given
            raise ValueError(
                f"{given} is given without {lacking}; give what the reference said as span_at and "
                "what the channel read as span_reads, or neither"
            )
        if self.span_at is not None and self.span_reads is not None:
            self._check_span(self.span_at, self.span_reads)
        return self

    def _check_span(self, at: float, reads: float) -> None:  # channel's unit
        if at < SPAN_AT_MIN:
            raise ValueError(
                f"span_at = {at:g} is below {SPAN_AT_MIN:g}, too near zero for a second point; "
                "compare near the working temperature or pressure, or remove span_at and span_reads"
            )
        error_fraction = (reads - self.zero_reads) / at - 1.0
        if abs(error_fraction) > SPAN_ERROR_FRACTION_MAX:
            raise ValueError(
                f"span_reads = {reads:g} at span_at = {at:g} is {error_fraction:+.1%} off after "
                f"the zero error, more than {SPAN_ERROR_FRACTION_MAX:.0%}: no correction but a "
                "fault of sensor, lead, wiring or setting; find and mend it"
            )


def corrected(settings: CorrectionSettings, value: float) -> float:
    """A value by the straight line through what was observed, in the channel's unit."""
    offset_free = value - settings.zero_reads
    if settings.span_at is None or settings.span_reads is None:
        return offset_free
    return offset_free * settings.span_at / (settings.span_reads - settings.zero_reads)
