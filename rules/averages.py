"""Three moving averages of one signal and what their distances tell, at constant cost.

An average trails a straight line by its lag, so two of different lag are apart by the
line's rate times the difference of their lags. Nothing is kept but the averages.

Source:
    Exponentially weighted moving averages (NIST/SEMATECH e-Handbook of Statistical
    Methods, 6.3.2.4); their lag behind a line sampled every dt is dt (1 - w) / w for
    the weight w, and (1 - w)^n of it is missing n samples after they began.
"""

from functools import lru_cache
from math import exp
from typing import NamedTuple

from rules.frame import NS_PER_S

# Lags, s: above a gauge's noise, above a refill, above a trim.
NEAR_S, MIDDLE_S, FAR_S = 5.0, 30.0, 150.0
# Averages whose lags are not this far apart tell no rate: samples are too seldom, or too few.
LAGS_APART_S = 30.0


class _Steps(NamedTuple):
    """What one step of a given length means to the averages, and how far each then trails."""

    near_share: float
    middle_share: float
    far_share: float
    near_lag_s: float
    middle_lag_s: float
    far_lag_s: float


@lru_cache(maxsize=256)
def _steps(dt_ns: int) -> _Steps:
    shares = [1.0 - exp(-dt_ns / NS_PER_S / lag_s) for lag_s in (NEAR_S, MIDDLE_S, FAR_S)]
    lags_s = [dt_ns / NS_PER_S * (1.0 - share) / share for share in shares]
    return _Steps(*shares, *lags_s)


class Averages(NamedTuple):
    """The averages of one signal, in the signal's unit.

    Attributes:
        begun_ns: time of the first sample, ns.
        at_ns: time of the newest, ns.
        dt_ns: between the newest two, ns; 0 with one.
        near: the average of least lag, some seconds.
        middle: half a minute.
        far: some minutes.
    """

    begun_ns: int
    at_ns: int
    dt_ns: int
    near: float
    middle: float
    far: float

    def push(self, at_ns: int, value: float) -> "Averages":
        """The averages with one more sample.

        Args:
            at_ns: time of the sample, ns; not after the newest: nothing happens.
            value: the sample.

        Source:
            Module docstring.
        """
        begun_ns, before_ns, _, near, middle, far = self
        dt_ns = at_ns - before_ns
        if dt_ns <= 0:
            return self
        near_share, middle_share, far_share, _, _, _ = _steps(dt_ns)
        return Averages(
            begun_ns,
            at_ns,
            dt_ns,
            near + (value - near) * near_share,
            middle + (value - middle) * middle_share,
            far + (value - far) * far_share,
        )

    def scaled(self, ratio: float) -> "Averages":
        """The averages of the same signal times `ratio`.

        Source:
            Own method.
        """
        return self._replace(
            near=self.near * ratio, middle=self.middle * ratio, far=self.far * ratio
        )

    @property
    def fast_per_s(self) -> float:
        """Rate over about half a minute, per second.

        Source:
            Module docstring.
        """
        if self.dt_ns == 0:
            return 0.0
        steps = _steps(self.dt_ns)
        apart_s = steps.middle_lag_s - steps.near_lag_s
        return (self.near - self.middle) / apart_s if apart_s > 1.0 else 0.0

    @property
    def rate_per_h(self) -> float | None:
        """Rate over some minutes, per hour; None until enough is seen.

        True from the first for a line that runs since the averages began; one that
        began later shows by four fifths after 5 min.

        Source:
            Module docstring.
        """
        if self.dt_ns == 0:
            return None
        steps = _steps(self.dt_ns)
        apart_s = steps.far_lag_s - steps.middle_lag_s
        age_s = (self.at_ns - self.begun_ns) / NS_PER_S
        if age_s < 10 * FAR_S:
            apart_s -= steps.far_lag_s * exp(-age_s / FAR_S)
            apart_s += steps.middle_lag_s * exp(-age_s / MIDDLE_S)
        return (self.middle - self.far) / apart_s * 3600.0 if apart_s > LAGS_APART_S else None


def begun(at_ns: int, value: float) -> Averages:
    """Averages of one sample.

    Source:
        Own method.
    """
    return Averages(at_ns, at_ns, 0, value, value, value)
