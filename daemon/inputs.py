"""A channel's newest sample: its link's signal, made a value and corrected."""

from collections.abc import Mapping

from daemon.wiring import ChannelConfig
from drivers.base import Sample
from drivers.sensors import measured


def sample_of(key: str, channel: ChannelConfig, snapshot: Mapping[str, Sample]) -> Sample:
    """What a channel reads now.

    Args:
        key: `rig/channel`.
        channel: how it is wired.
        snapshot: of its link.
    """
    return measured(
        snapshot[key],
        sensor=channel.sensor,
        cold_junction=snapshot[f"{key}.cold_junction"] if channel.cold_junction else None,
        condition=channel.condition,
        condition_sample=snapshot[f"{key}.condition"] if channel.condition_point else None,
        correction=channel.correction,
    )
