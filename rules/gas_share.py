"""How far the air in a bag goes from ambient to its pad: figures, and how it is learned.

Source:
    This project's design: ambient + f (pad - ambient), f 0.3 to 0.6. Gas law; recursive
    least squares with forgetting.
"""

from typing import Self

from pydantic import BaseModel, Field, model_validator

from rules.facts import STRICT

# Learned from each so many K that the pad warms, the older the less.
SEGMENT_K, KEPT_SHARE, PRIOR_SCALE = 8.0, 0.97, 100.0


class AirLimits(BaseModel):
    """Figures of the air's model.

    Attributes:
        gas_share: how far the air in a bag goes from ambient to its pad, to begin with.
        gas_share_low: the least it may be learned to be.
        gas_share_high: the most.
        bare_share: the same, towards the other pad, of a bag that has no pad of its own.
        gas_lag_s: how slowly bag and air follow the pad, s.
        ambient_c: taken when no ambient sensor can be read.
        empty_kpa: no air is in a bag up to here.
        leak_kpa_per_h: slower losses are steady.
        refill_kpa: more at once is not a regulator's doing but a hand's.
        band_low_kpa: a move that stops above is a trim.
    """

    model_config = STRICT

    gas_share: float = Field(default=0.45, ge=0, le=1)
    gas_share_low: float = Field(default=0.3, ge=0, le=1)
    gas_share_high: float = Field(default=0.6, ge=0, le=1)
    bare_share: float = Field(default=0.15, ge=0, le=1)
    gas_lag_s: float = Field(default=300.0, gt=0, le=3600)
    ambient_c: float = Field(default=20.0, ge=-40, le=60)
    empty_kpa: float = Field(default=10.0, ge=1, le=50)
    leak_kpa_per_h: float = Field(default=12.0, gt=0, le=600)
    refill_kpa: float = Field(default=8.0, gt=0, le=50)
    band_low_kpa: float = Field(default=180.0, gt=0, le=600)

    @model_validator(mode="after")
    def _cross_check(self) -> Self:
        if not self.gas_share_low <= self.gas_share <= self.gas_share_high:
            raise ValueError(
                f"gas_share = {self.gas_share:g} is not between gas_share_low = "
                f"{self.gas_share_low:g} and gas_share_high = {self.gas_share_high:g}; move it "
                "between them, or widen them"
            )
        return self


def learned_share(
    limits: AirLimits, share: float, learned_scale: float, span_k: float, rose_k: float
) -> tuple[float, float]:
    """The share after one more segment of a sealed bag's warming, and how much is learned.

    Sealed, p / p0 = (A + f u) / (A + f u0), which is a straight line in f through
    the origin: A (p / p0 - 1) = f (u - u0 p / p0).

    Args:
        limits: figures.
        share: f, as learned so far.
        learned_scale: how much has been learned of it, K².
        span_k: u - u0 p / p0: by how much the pad has warmed over the air around it, K.
        rose_k: A (p / p0 - 1): how far its air has, K.

    Source:
        Module docstring.
    """
    learned_scale = KEPT_SHARE * learned_scale + span_k * span_k
    share += span_k * (rose_k - share * span_k) / learned_scale
    share = min(limits.gas_share_high, max(limits.gas_share_low, share))
    return share, learned_scale
