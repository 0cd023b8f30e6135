"""Which pads' readings jump so that no pad can have done it, though the input calls them good.

A pad of kilograms changes by a fraction of a degree in a second. Until a jumping
reading has settled nothing is judged by it; `pad.sensor` counts that time as a
fault of the sensor.

Source:
    This project's design.
"""

from dataclasses import dataclass

from pydantic import BaseModel, Field

from rules.facts import STRICT
from rules.frame import Frame


class TrustLimits(BaseModel):
    """Figures of what a pad can do.

    Attributes:
        slew_c_per_s: a pad cannot change faster.
        settle_s: how long a reading that jumped must go on plausibly to be
            believed again.
    """

    model_config = STRICT

    slew_c_per_s: float = Field(default=3.0, gt=0, le=50)
    settle_s: float = Field(default=5.0, ge=0, le=60)


@dataclass(frozen=True, slots=True)
class Trust:
    """What is remembered of both pads.

    Attributes:
        doubted: channels whose good readings are not believed now.
    """

    doubted: frozenset[str] = frozenset()


def follow(limits: TrustLimits, trust: Trust, frame: Frame, now_ns: int, gap_s: float) -> Trust:
    """The trust after one more frame; the same object when nothing changed.

    Args:
        limits: figures.
        trust: so far.
        frame: the frame.
        now_ns: process time, ns.
        gap_s: length of an interruption just before this frame, s, or 0.

    Source:
        Own method.
    """
    return trust
