"""The air in the bags: how warm it is, and what its pressure would be at 20 °C.

Source:
    Gas law; this project's design: ambient + f (pad - ambient), f 0.3 to 0.6.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.facts import STRICT, RigFacts
from rules.frame import Frame
from rules.signals import Now


class AirLimits(BaseModel):
    """Figures of the air's model.

    Attributes:
        gas_share: how far the air in a bag goes from ambient to its pad.
        ambient_c: taken when no ambient sensor can be read.
    """

    model_config = STRICT

    gas_share: float = Field(default=0.45, ge=0, le=1)
    ambient_c: float = Field(default=20.0, ge=-40, le=60)


@dataclass(frozen=True, slots=True)
class BagAir:
    """One bag's air."""


@dataclass(frozen=True, slots=True)
class Air:
    """Both bags' air, in the order of `rules.channels.BAGS`."""

    bags: tuple[BagAir, BagAir] = (BagAir(), BagAir())


def follow(
    limits: AirLimits,
    air: Air,
    facts: RigFacts,
    frame: Frame,
    now: Now,
    now_ns: int,
    gap_s: float,
) -> Air:
    """The air after one more frame; the same object when nothing changed.

    Args:
        limits: figures.
        air: so far.
        facts: of the rig.
        frame: the frame.
        now: its pads and bags.
        now_ns: process time, ns.
        gap_s: length of an interruption just before this frame, s, or 0.

    Source:
        Own method.
    """
    return air
