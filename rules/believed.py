"""Which readings are believed: good ones, and of a pad only what a pad can have.

A broken thermocouple read by an input that does not say so shows the end of its
scale, for instance 1372 or -200 °C. That is its sensor's fault, not the pad's heat.

Source:
    NIST ITS-90 (Monograph 175), type K ends at -270 and 1372 °C; the span a pad
    can have is common practice, no source.
"""

from rules.channels import PADS
from rules.frame import Quality, Reading

# As wide as the span in `pad.sensor` can be set.
PAD_C_POSSIBLE = (-100.0, 400.0)


def believed(name: str, reading: Reading | None) -> float | None:
    """The value of a channel's reading; None when not fitted, not good or impossible.

    Source:
        Own method.
    """
    if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
        return None
    possible = name not in PADS or PAD_C_POSSIBLE[0] <= reading.value <= PAD_C_POSSIBLE[1]
    return reading.value if possible else None
