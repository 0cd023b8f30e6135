"""Linear voltages: the line by numpy, the band, and the faults on either side of it."""

import numpy as np
import pytest
from pydantic import ValidationError

from drivers.sensors import VoltageSettings
from drivers.sensors.voltage import linear_value

# Invented: 0.5 to 4.5 V of 5 V for 0 to 1000 kPa; broken it is pulled up, shorted it is at ground.
PULLED_UP = {
    "signal": "voltage",
    "low_v": 0.5,
    "at_low_v": 0.0,
    "high_v": 4.5,
    "at_high_v": 1000.0,
    "valid_low_v": 0.4,
    "valid_high_v": 4.6,
    "open_v": 4.8,
    "short_v": 0.2,
}
PULLED_DOWN = PULLED_UP | {"open_v": 0.2, "short_v": 4.8}
UNTOLD = {key: value for key, value in PULLED_UP.items() if key not in ("open_v", "short_v")}


def settings(table: dict[str, object], **changed: object) -> VoltageSettings:
    return VoltageSettings.model_validate(table | changed)


@pytest.mark.parametrize("signal_v", [0.5, 1.3279, 2.5, 4.5])
def test_the_line_by_numpy(signal_v):
    slope, start = np.polyfit((0.5, 4.5), (0.0, 1000.0), 1)
    found = linear_value(settings(PULLED_UP), signal_v)
    assert found == pytest.approx(slope * signal_v + start, abs=1e-9)


def test_a_line_through_other_points_than_the_ends():
    falling = settings(UNTOLD, low_v=1.0, at_low_v=150.0, high_v=3.0, at_high_v=-50.0)
    assert linear_value(falling, 2.0) == pytest.approx(50.0)
    assert linear_value(falling, 4.5) == pytest.approx(-200.0)


@pytest.mark.parametrize(
    ("signal_v", "pulled_up", "pulled_down", "untold"),
    [
        (-1.0, "short_circuit", "open_circuit", "below_range"),
        (0.2, "short_circuit", "open_circuit", "below_range"),
        (0.2001, "below_range", "below_range", "below_range"),
        (0.3999, "below_range", "below_range", "below_range"),
        (0.4, "", "", ""),
        (4.6, "", "", ""),
        (4.6001, "above_range", "above_range", "above_range"),
        (4.7999, "above_range", "above_range", "above_range"),
        (4.8, "open_circuit", "short_circuit", "above_range"),
        (12.0, "open_circuit", "short_circuit", "above_range"),
    ],
)
def test_outside_the_band(signal_v, pulled_up, pulled_down, untold):
    found = [linear_value(settings(t), signal_v) for t in (PULLED_UP, PULLED_DOWN, UNTOLD)]
    reasons = [item if isinstance(item, str) else "" for item in found]
    assert reasons == [pulled_up, pulled_down, untold]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"low_v": 4.5}, "low_v = 4.5 is not below high_v = 4.5"),
        ({"at_high_v": 0.0}, "at_low_v and at_high_v are both 0"),
        ({"valid_low_v": 0.6}, "valid_low_v = 0.6 is above low_v = 0.5"),
        ({"valid_high_v": 4.4}, "valid_high_v = 4.4 is below high_v = 4.5"),
        ({"open_v": 4.6}, "open_v = 4.6 lies between valid_low_v = 0.4"),
        ({"short_v": 0.4}, "short_v = 0.4 lies between valid_low_v = 0.4"),
        ({"short_v": 4.9}, "open_v = 4.8 and short_v = 4.9 lie on the same side"),
        ({"open_v": 0.1}, "open_v = 0.1 and short_v = 0.2 lie on the same side"),
    ],
)
def test_refused_in_words(changed, words):
    with pytest.raises(ValidationError, match=words) as caught:
        settings(PULLED_UP, **changed)
    assert "; " in str(caught.value), "says what to do"


def test_the_band_may_end_where_the_line_does():
    exact = settings(UNTOLD, valid_low_v=0.5, valid_high_v=4.5)
    assert linear_value(exact, 0.5) == 0.0
    assert linear_value(exact, 0.4999) == "below_range"
