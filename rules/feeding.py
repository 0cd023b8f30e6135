"""A leak that a regulator makes up shows on no gauge: what shows it all the same.

Source:
    Gas law: a tight bag rises as its air warms, and what a cooling bag takes in is as
    much as cooling explains. The figures are common practice, no source.
"""

from rules.air import REFERENCE_K, BagAir
from rules.boiling import KELVIN
from rules.facts import AirMode
from rules.view import View

# A tight bag rises by its regulator's own swing, some 3 kPa, when it is warmed by this much.
WARMED_K, COOLER_K, FED_ABOVE_KPA, FED_BELOW_KPA = 8.0, 25.0, 1.0, 4.0
# Fewer tell no rate.
REFILLS_PER_H = 3.0


def made_up_kpa_per_h(air: BagAir) -> float:
    """What a regulator puts back beyond what cooling explains, kPa/h; 0 while not known.

    Source:
        Own method.
    """
    if air.refills_per_h < REFILLS_PER_H or air.gas_c is None:
        return 0.0
    if air.rate_kpa_per_h is None or air.gauge_rate_kpa_per_h is None:
        return 0.0
    cools = air.rate_kpa_per_h * (KELVIN + air.gas_c) / REFERENCE_K - air.gauge_rate_kpa_per_h
    return air.refill_kpa_per_h - max(0.0, cools)


def looks_fed(view: View, air: BagAir) -> bool:
    """A bag under a regulator stands, hot, where it stood when it was filled cold.

    Source:
        Own method.
    """
    if view.facts.air_mode is AirMode.LOCKED_OFF or air.track is None:
        return False
    if air.settled_kpa is None or air.gas_c is None:
        return False
    warm = air.gas_c >= max(air.settled_c + WARMED_K, air.hottest_c - COOLER_K)
    over_kpa = air.track.gauge.middle - air.settled_kpa
    return warm and -FED_BELOW_KPA <= over_kpa <= FED_ABOVE_KPA


def looks_tight(air: BagAir) -> bool:
    """A bag has risen with its air's warmth, or there is none.

    Source:
        Own method.
    """
    if air.kpa is None:
        return True
    if air.settled_kpa is None or air.gas_c is None:
        return False
    return air.gas_c >= air.settled_c + WARMED_K and air.kpa > air.settled_kpa + FED_ABOVE_KPA
