"""A channel's newest sample: its link's signal, made a value and corrected."""

from collections.abc import Mapping

from daemon.wiring import ChannelConfig
from drivers.base import Sample
from drivers.sensors import measured
from rules.channels import BY_NAME, Kind


def sample_of(key: str, channel: ChannelConfig, snapshot: Mapping[str, Sample]) -> Sample:
    """What a channel reads now.

    Args:
        key: `rig/channel`.
        channel: how it is wired.
        snapshot: of its link.
    """
    sample = measured(
        snapshot[key],
        sensor=channel.sensor,
        cold_junction=snapshot[f"{key}.cold_junction"] if channel.cold_junction else None,
        condition=channel.condition,
        condition_sample=snapshot[f"{key}.condition"] if channel.condition_point else None,
        correction=channel.correction,
    )
    return _on_or_off(sample) if BY_NAME[key.rpartition("/")[2]].kind is Kind.SWITCH else sample


def _on_or_off(sample: Sample) -> Sample:
    """A switch that reads neither 0 nor 1 is no switch: the wrong place is read, or scaled."""
    if sample.value is None or sample.value in (0.0, 1.0):
        return sample
    reason = "below_range" if sample.value < 0.0 else "above_range"
    return Sample(None, "bad", reason, sample.at_ns, sample.raw)
