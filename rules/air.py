"""The air in the bags: how warm it is, and what its pressure would be at 20 °C.

Source:
    Gas law; this project's design: ambient + f (pad - ambient), f 0.3 to 0.6.
"""

from dataclasses import dataclass
from enum import StrEnum

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


class Doing(StrEnum):
    """What is happening to the air in a bag."""

    UNKNOWN = "unknown"
    EMPTY = "empty"
    FILLING = "filling"
    STEADY = "steady"
    TRIM = "trim"
    LEAKING = "leaking"
    LETTING_DOWN = "letting down"


@dataclass(frozen=True, slots=True)
class BagAir:
    """One bag's air, looked at every 2 s of process time.

    Attributes:
        kpa: gauge pressure at the last look; None: not fitted or not believed.
        gas_c: modelled temperature of its air, °C; None until a pad is believed.
        corrected_kpa: absolute pressure, kPa, brought to 20 °C at constant volume.
        rate_kpa_per_h: of the corrected pressure over some minutes, refills by a
            regulator apart; below 0 it loses air. None until it is known.
        fell_60_kpa: how far the corrected pressure is below its highest of the
            last 60 s, kPa.
        share: how far its air goes from ambient to its pad, as learned.
        doing: what is happening to it.
        refills_per_h: how often a regulator puts air back, 1/h; 0 while not seen.
        refill_kpa_per_h: how much a regulator puts back, kPa/h.
    """

    kpa: float | None = None
    gas_c: float | None = None
    corrected_kpa: float | None = None
    rate_kpa_per_h: float | None = None
    fell_60_kpa: float = 0.0
    share: float = 0.45
    doing: Doing = Doing.UNKNOWN
    refills_per_h: float = 0.0
    refill_kpa_per_h: float = 0.0


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
