"""4 to 20 mA against NAMUR NE 43, at its exact edges."""

import math

import pytest
from pydantic import ValidationError

from drivers.sensors import LoopSettings
from drivers.sensors.loop import loop_value

PRESSURE = LoopSettings(signal="loop", at_4_ma=0.0, at_20_ma=600.0)


@pytest.mark.parametrize(
    ("signal_ma", "kpa"),
    [(4.0, 0.0), (12.0, 300.0), (20.0, 600.0), (3.8, -7.5), (20.5, 618.75)],
)
def test_a_measurement(signal_ma, kpa):
    assert loop_value(PRESSURE, signal_ma) == pytest.approx(kpa, abs=1e-9)


def test_a_range_that_falls_and_does_not_begin_at_zero():
    temperature = LoopSettings(signal="loop", at_4_ma=200.0, at_20_ma=-50.0)
    assert loop_value(temperature, 4.0) == 200.0
    assert loop_value(temperature, 20.0) == -50.0
    assert loop_value(temperature, 7.84) == pytest.approx(140.0)


@pytest.mark.parametrize(
    ("edge_ma", "below", "at", "above"),
    [
        # NAMUR NE 43; the first two are ours
        (-0.5, "failure", "failure", "open_circuit"),
        (0.5, "open_circuit", "failure", "failure"),
        (3.6, "failure", "failure", "below_range"),
        (3.8, "below_range", "", ""),
        (20.5, "", "", "above_range"),
        (21.0, "above_range", "failure", "failure"),
    ],
)
def test_the_edges(edge_ma, below, at, above):
    around = (math.nextafter(edge_ma, -99), edge_ma, math.nextafter(edge_ma, 99))
    found = [loop_value(PRESSURE, signal_ma) for signal_ma in around]
    assert [item if isinstance(item, str) else "" for item in found] == [below, at, above]


@pytest.mark.parametrize(
    ("signal_ma", "reason"),
    [(-20.0, "failure"), (0.0, "open_circuit"), (3.0, "failure"), (25.0, "failure")],
)
def test_far_from_the_edges(signal_ma, reason):
    assert loop_value(PRESSURE, signal_ma) == reason


def test_a_range_of_nothing_is_refused():
    with pytest.raises(ValidationError, match=r"at_4_ma and at_20_ma are both 5, .*; give both"):
        LoopSettings(signal="loop", at_4_ma=5.0, at_20_ma=5.0)
