"""Which readings are believed: good ones, and only what such a thing can have.

A broken thermocouple read by an input that does not say so shows the end of its
scale, for instance 1372 or -200 °C. That is its sensor's fault, not the pad's heat.

Source:
    NIST ITS-90 (Monograph 175), type K ends at -270 and 1372 °C; the span a pad
    can have is common practice, no source. A gauge cannot read far below vacuum;
    its upper end is beyond any bag and any supply.
"""

from rules.channels import CHANNELS
from rules.frame import Quality, Reading

# As wide as the span in `pad.sensor` can be set.
PAD_C_POSSIBLE = (-100.0, 400.0)
KPA_POSSIBLE = (-110.0, 5000.0)

_SPANS = {"c": PAD_C_POSSIBLE, "kpa": KPA_POSSIBLE}
_POSSIBLE = {
    channel.name: _SPANS[unit]
    for channel in CHANNELS
    if (unit := channel.name.rpartition("_")[2]) in _SPANS
}


def believed(name: str, reading: Reading | None) -> float | None:
    """The value of a channel's reading; None when not fitted, not good or impossible.

    Source:
        Own method.
    """
    if reading is None or reading.quality is not Quality.GOOD:
        return None
    value, span = reading.value, _POSSIBLE.get(name)
    if value is None or span is None or span[0] <= value <= span[1]:
        return value
    return None
