"""Pt100 against the table of IEC 60751, and against its formula by numpy and scipy."""

import numpy as np
import pytest
from scipy.optimize import brentq

from drivers.sensors.resistance import platinum_c, resistance_ohm

# °C and ohm, IEC 60751 table, two decimals, from memory; 100 and 140 also worked out from the
# formula with more digits.
TABLE = [
    *((-199, 18.95), (-150, 39.72), (-100, 60.26), (-50, 80.31), (-10, 96.09), (0, 100.00)),
    *((10, 103.90), (50, 119.40), (100, 138.51), (140, 153.58), (150, 157.33), (200, 175.86)),
    *((300, 212.05), (400, 247.09), (500, 280.98), (600, 313.71), (700, 345.28), (800, 375.70)),
]
EXACT = [(100.0, 138.5055), (140.0, 153.5843)]


def by_numpy_ohm(tip: float) -> float:
    # IEC 60751, as one polynomial: 100 (1 + A t + B t² - 100 C t³ + C t⁴)
    cold = -4.183e-12 if tip < 0 else 0.0
    row = (cold, -100 * cold, -5.775e-7, 3.9083e-3, 1.0)
    return float(100.0 * np.polyval(row, tip))


@pytest.mark.parametrize(("tip", "ohm"), TABLE)
def test_the_standards_table(tip, ohm):
    assert by_numpy_ohm(tip) == pytest.approx(ohm, abs=0.0051)
    assert resistance_ohm(tip) == pytest.approx(ohm, abs=0.0051)
    # 0.005 ohm is some 0.013 °C, and up to 0.017 °C at the hot end
    assert platinum_c(ohm) == pytest.approx(tip, abs=0.018)


@pytest.mark.parametrize(("tip", "ohm"), EXACT)
def test_to_the_last_digit_but_one(tip, ohm):
    assert platinum_c(ohm) == pytest.approx(tip, abs=1e-3)  # 0.001 °C is 0.0004 ohm
    assert resistance_ohm(tip) == pytest.approx(ohm, abs=1e-4)


def test_all_of_the_scale_by_scipy():
    for tip in np.linspace(-199.99, 849.99, 500):
        ohm = by_numpy_ohm(tip)
        by_scipy = brentq(lambda c, r=ohm: by_numpy_ohm(c) - r, -201.0, 851.0, xtol=1e-11)
        assert platinum_c(ohm) == pytest.approx(by_scipy, abs=1e-8)
        assert platinum_c(ohm) == pytest.approx(tip, abs=1e-8)


@pytest.mark.parametrize(
    ("ohm", "reason"),
    [
        *((-5.0, "short_circuit"), (0.0, "short_circuit"), (9.99, "short_circuit")),
        *((10.0, "below_range"), (18.52, "below_range"), (18.53, "")),  # 18.52008 at -200 °C
        *((390.48, ""), (390.49, "above_range"), (399.99, "above_range")),  # 390.481 at 850 °C
        *((400.0, "open_circuit"), (1e9, "open_circuit")),
    ],
)
def test_beyond_the_scale(ohm, reason):
    found = platinum_c(ohm)
    assert (found if isinstance(found, str) else "") == reason
