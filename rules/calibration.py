"""What a person observed when an instrument was last compared with a reference.

Nothing is corrected here: readings come in corrected. It stands among the limits
so that every frame names, by their hash, the calibration it was read with.

Source:
    Own method.
"""

from pydantic import BaseModel, Field

from rules.facts import STRICT


class Calibration(BaseModel):
    """One instrument's last comparison.

    Attributes:
        on: the day, as YYYY-MM-DD.
        by: who did it, as asserted.
        zero_reads: what it read at zero: in melting ice, or open to the air; in
            the channel's unit.
        span_at: the reference's value at the second point; None: one point only.
        span_reads: what it read there.
    """

    model_config = STRICT

    on: str = Field(pattern=r"^\d{4}-\d{2}-\d{2}$")
    by: str = Field(default="", max_length=40)
    zero_reads: float = 0.0
    span_at: float | None = None
    span_reads: float | None = None
