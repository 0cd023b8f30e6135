"""Types K and J against NIST's table, and against NIST's coefficients by numpy and scipy."""

import numpy as np
import pytest
from scipy.optimize import brentq

from drivers.base import Sample
from drivers.sensors import ThermocoupleSettings, measured
from drivers.sensors.thermocouple import tip_c

# mV with terminals at 0 °C. NIST ITS-90 reference functions (NIST Monograph 175; IEC 60584-1).
TABLE_C = (25, 50, 70, 100, 120, 140, 150, 200)
TABLE_MV = {
    "K": (1.000242, 2.023078, 2.851249, 4.096230, 4.919882, 5.734508, 6.138344, 8.138473),
    "J": (1.277288, 2.585315, 3.649539, 5.268916, 6.360306, 7.458677, 8.009905, 10.778746),
}
ROWS = [
    (kind, tip, signal_mv)
    for kind, row in TABLE_MV.items()
    for tip, signal_mv in zip(TABLE_C, row, strict=True)
]

# The coefficients of the same reference functions, lowest power first: written out here, not
# taken from the library under test. NIST Monograph 175, from memory; the table above checks them.
K_BELOW_0 = (
    *(0.0, 0.394501280250e-01, 0.236223735980e-04, -0.328589067840e-06, -0.499048287770e-08),
    *(-0.675090591730e-10, -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16),
    *(-0.198892668780e-19, -0.163226974860e-22),
)
K_ABOVE_0 = (
    *(-0.176004136860e-01, 0.389212049750e-01, 0.185587700320e-04, -0.994575928740e-07),
    *(0.318409457190e-09, -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18),
    *(0.971511471520e-22, -0.121047212750e-25),
)
K_HUMP = (0.118597600000, -0.118343200000e-03, 126.9686)
J_BELOW_760 = (
    *(0.0, 0.503811878150e-01, 0.304758369300e-04, -0.856810657200e-07, 0.132281952950e-09),
    *(-0.170529583370e-12, 0.209480906970e-15, -0.125383953360e-18, 0.156317256970e-22),
)
J_ABOVE_760 = (
    *(0.296456256810e03, -0.149761277860e01, 0.317871039240e-02, -0.318476867010e-05),
    *(0.157208190040e-08, -0.306913690560e-12),
)
SPAN_C = {"K": (-270.0, 1372.0), "J": (-210.0, 1200.0)}


def reference_mv(kind: str, tip: float) -> float:
    if kind == "J":
        row = J_BELOW_760 if tip <= 760 else J_ABOVE_760
        return float(np.polyval(row[::-1], tip))
    if tip <= 0:
        return float(np.polyval(K_BELOW_0[::-1], tip))
    height, width, middle = K_HUMP
    return float(np.polyval(K_ABOVE_0[::-1], tip) + height * np.exp(width * (tip - middle) ** 2))


def terminals(value: float | None, quality: str = "good", reason: str = "") -> Sample:
    return Sample(value, quality, reason, 1)


@pytest.mark.parametrize(("kind", "tip", "signal_mv"), ROWS)
def test_the_table_with_terminals_in_ice(kind, tip, signal_mv):
    # 1e-5 mV is the last digit but one, some 0.0002 °C
    assert tip_c(kind, signal_mv, terminals(0.0)) == pytest.approx(tip, abs=1e-4)
    assert reference_mv(kind, tip) == pytest.approx(signal_mv, abs=1e-6)


@pytest.mark.parametrize(("kind", "terminals_at", "terminals_mv"), ROWS[:4] + ROWS[8:12])
@pytest.mark.parametrize("tip", [-20.0, 25.0, 140.0, 200.0])
def test_the_table_as_what_the_terminals_are_worth(kind, terminals_at, terminals_mv, tip):
    # The other direction: degrees of the terminals into their millivolts of the table.
    signal_mv = reference_mv(kind, tip) - terminals_mv
    assert tip_c(kind, signal_mv, terminals(float(terminals_at))) == pytest.approx(tip, abs=1e-4)


@pytest.mark.parametrize("kind", ["K", "J"])
def test_all_of_the_reference_function_by_scipy(kind):
    low, high = SPAN_C[kind]
    for tip in np.linspace(low + 0.5, high - 0.5, 400):
        signal_mv = reference_mv(kind, tip)
        by_scipy = brentq(lambda c, mv=signal_mv: reference_mv(kind, c) - mv, low, high, xtol=1e-10)
        found = tip_c(kind, signal_mv, terminals(0.0))
        # brentq near -270 is limited by the slope, under 2 nV a hundredth of a degree
        assert found == pytest.approx(by_scipy, abs=1e-5)
        assert found == pytest.approx(tip, abs=1e-5)


def test_voltages_are_added_and_not_degrees():
    shown_mv = 4.734266  # K, tip at 140 °C, terminals at 25 °C (5.734508 - 1.000242, NIST)
    assert tip_c("K", shown_mv, terminals(25.0)) == pytest.approx(140.00, abs=1e-4)
    by_degrees = brentq(lambda c: reference_mv("K", c) - shown_mv, 0, 200) + 25.0
    assert by_degrees - 140.0 > 0.4
    hot = 60.0  # a cabinet in the sun: degrees would be nearly one off
    signal_mv = reference_mv("K", 140.0) - reference_mv("K", hot)
    by_degrees = brentq(lambda c: reference_mv("K", c) - signal_mv, 0, 200) + hot
    assert tip_c("K", signal_mv, terminals(hot)) == pytest.approx(140.0, abs=1e-4)
    assert abs(by_degrees - 140.0) > 0.5


def test_type_j_read_as_k_is_another_temperature():
    assert tip_c("J", 7.458677, terminals(0.0)) == pytest.approx(140.0, abs=1e-4)  # NIST
    wrong = tip_c("K", 7.458677, terminals(0.0))
    assert isinstance(wrong, float)
    assert wrong > 180.0


@pytest.mark.parametrize(
    ("kind", "tip_mv", "expected"),
    [
        ("K", -6.45770, -269.0),
        ("K", -6.45780, "below_range"),  # -6.457738 mV, -270 °C
        ("K", 54.88630, 1372.0),
        ("K", 54.88640, "above_range"),  # 54.886364 mV, 1372 °C
        ("J", -8.09530, -210.0),
        ("J", -8.09540, "below_range"),  # -8.095379 mV, -210 °C
        ("J", 69.55310, 1200.0),
        ("J", 69.55320, "above_range"),  # 69.553180 mV, 1200 °C
    ],
)
@pytest.mark.parametrize("terminals_at", [0.0, 25.0, -40.0])
def test_beyond_the_reference_function(kind, tip_mv, expected, terminals_at):
    # Ends of the reference functions: NIST Monograph 175.
    signal_mv = tip_mv - reference_mv(kind, terminals_at)
    found = tip_c(kind, signal_mv, terminals(terminals_at))
    if isinstance(expected, str):
        assert found == expected
    else:
        assert found == pytest.approx(expected, abs=1.0)


@pytest.mark.parametrize(
    ("value", "believed"),
    [
        *((-40.01, False), (-40.0, True), (25.0, True), (100.0, True), (100.01, False)),
        *((float("nan"), False), (float("inf"), False), (None, False)),
    ],
)
def test_terminals_that_can_be_believed(value, believed):
    found = tip_c("K", 2.0, terminals(value))
    assert (found != "cold_junction") is believed


def test_terminals_that_were_not_read():
    assert tip_c("K", 2.0, None) == "cold_junction"
    assert tip_c("K", 2.0, terminals(None, "bad", "no_reply")) == "cold_junction"
    assert tip_c("K", 2.0, terminals(25.0, "bad", "failure")) == "cold_junction"
    assert isinstance(tip_c("K", 2.0, terminals(25.0, "uncertain", "out_of_specification")), float)


@pytest.mark.parametrize(
    ("quality", "reason"),
    [("uncertain", "out_of_specification"), ("good", "maintenance_required"), ("good", "")],
)
def test_doubt_of_the_terminals_is_doubt_of_the_tip(quality, reason):
    sample = measured(
        Sample(4.734266, "good", "", 9, (4734,)),
        sensor=ThermocoupleSettings(signal="thermocouple", type="K"),
        cold_junction=Sample(25.0, quality, reason, 5),
        condition=None,
        condition_sample=None,
        correction=None,
    )
    assert sample.value == pytest.approx(140.0, abs=1e-4)
    assert (sample.quality, sample.reason) == (quality, reason)
    assert (sample.at_ns, sample.raw) == (5, (4734,))
