"""The four states of NAMUR NE 107 until `drivers.sensors.conditioned` is there."""

from dataclasses import replace

from drivers.base import Sample


def conditioned(sample: Sample, state: str) -> Sample:
    """A sample with its instrument's state, one of F, C, S and M."""
    if sample.quality == "bad":
        return sample
    match state:
        case "F":
            return replace(sample, value=None, quality="bad", reason="failure")
        case "C":
            return replace(sample, value=None, quality="bad", reason="check_function")
        case "S":
            return replace(sample, quality="uncertain", reason="out_of_specification")
    return replace(sample, reason="maintenance_required")
