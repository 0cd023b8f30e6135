"""Frames made from the links' samples, by the clock and never by the readings."""

from collections.abc import Mapping

from daemon.clock import SiteClock
from drivers.base import Sample
from rules.frame import Command, Frame, Health, Quality, Reading, Reason

KNOWN_REASONS = frozenset(Reason)


def reading_of(sample: Sample) -> Reading:
    """A link's sample as a reading of the rules."""
    reason = Reason(sample.reason) if sample.reason in KNOWN_REASONS else Reason.BAD_REPLY
    return Reading(sample.value, Quality(sample.quality), reason, sample.at_ns)


def readback_of(sample: Sample) -> bool | None:
    """A link's sample of an output as a read-back; None where it failed."""
    if sample.quality != Quality.GOOD or sample.value is None:
        return None
    return sample.value >= 0.5


def make_frame(
    seq: int,
    clock: SiteClock,
    inputs: Mapping[str, Sample],
    outputs: Mapping[str, Sample],
    health: Health,
    commands: tuple[Command, ...],
    limits_hash: str,
) -> Frame:
    """One frame of one rig, now.

    Args:
        seq: the frame's number.
        clock: gives the time.
        inputs: newest sample by channel.
        outputs: newest read-back by output.
        health: of the supervisor.
        commands: come in since the frame before.
        limits_hash: names the limits in force.
    """
    return Frame(
        seq,
        clock.now_ns(),
        clock.wall_ns(),
        clock.wall_trusted(),
        clock.boot_id,
        {name: reading_of(sample) for name, sample in inputs.items()},
        {name: readback_of(sample) for name, sample in outputs.items()},
        health,
        commands,
        clock.utc_offset_s(),
        limits_hash,
    )
