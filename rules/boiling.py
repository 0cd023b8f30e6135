"""When damp in the rubber boils, and so below which temperature air may be let out.

One function, `opens_below_c`, for the phase table and for every hazard: see
`docs/decisions/0013-one-temperature-to-open-below.md`.

Source:
    ISO 2533:1975 (standard atmosphere); IAPWS R7-97(2012) (boiling of water).
"""

import math
from functools import lru_cache

from rules.atmosphere import atmosphere_kpa

KELVIN = 273.15


def boiling_c(pressure_kpa: float) -> float:
    """Temperature at which water boils, °C.

    Args:
        pressure_kpa: absolute, kPa, 0.612 to 22064.

    Source:
        IAPWS R7-97(2012), industrial formulation 1997, region 4 backward
        equation, equation 31.
    """
    beta = (pressure_kpa / 1000.0) ** 0.25
    e = beta * beta - 0.17073846940092e2 * beta + 0.14915108613530e2
    f = 0.11670521452767e4 * beta * beta + 0.12020824702470e5 * beta - 0.48232657361591e4
    g = -0.72421316703206e6 * beta * beta - 0.32325550322333e7 * beta + 0.40511340542057e6
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    s = 0.65017534844798e3 + d
    root = s * s - 4.0 * (-0.23855557567849 + 0.65017534844798e3 * d)
    return float((s - math.sqrt(root)) / 2.0 - KELVIN)


@lru_cache(maxsize=64)
def opens_below_c(site_altitude_m: float, highest_c: float) -> float:
    """Every pad must be below this before air is let out or anything opened, °C.

    Damp in the rubber boils when the pressure goes, so a rig high in the
    mountains must cool further: to 87 °C at 4,000 m.

    Args:
        site_altitude_m: of the rig, m.
        highest_c: the limit at sea level, °C.

    Source:
        100 °C: common practice, no source; boiling point where the rig stands:
        ISO 2533 and IAPWS R7-97.
    """
    return min(highest_c, boiling_c(atmosphere_kpa(site_altitude_m)))
