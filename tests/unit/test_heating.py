"""How fast pads warm and cool, what shows heat, and what heaters take."""

import numpy as np
import pytest

from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.heater_current import NONE_YET, Currents
from rules.heater_current import follow as follow_current
from rules.heating import Heating, change, flows, follow, heat_seen, rate_c_min, surely_off
from rules.signals import Now
from rules.view import View, view_of


def _now(inner_c: float | None, outer_c: float | None = None) -> Now:
    return Now(inner_c, inner_c, None, None, (inner_c, outer_c))


def _warmed(values: list[float | None], step_s: float = 1.0) -> Heating:
    heating = Heating()
    for index, value in enumerate(values):
        at_ns = round(index * step_s * NS_PER_S)
        heating = follow(heating, _now(value), at_ns, step_s if index else 0.0, 0.0)
    return heating


def _view(values: dict[str, float], second: int = 0) -> View:
    at_ns = second * NS_PER_S
    readings = {
        name: Reading(value, Quality.GOOD, Reason.NONE, at_ns) for name, value in values.items()
    }
    frame = Frame(second, at_ns, at_ns, True, "test", readings)
    return view_of(frame, RigFacts(), at_ns, dt_s=1.0)


def test_rate_is_that_of_a_straight_line() -> None:
    seconds = np.arange(400)
    line = 20.0 + 2.4 / 60.0 * seconds
    trail = _warmed(list(line)).trails[0]
    slope = np.polyfit(seconds, line, 1)[0] * 60.0  # numpy least squares, °C/min
    assert rate_c_min(trail, 120.0) == pytest.approx(slope)
    assert rate_c_min(trail, 60.0) == pytest.approx(slope)


def test_between_two_looks_nothing_is_made() -> None:
    heating = _warmed([20.0] * 25)
    assert follow(heating, _now(21.0), 25 * NS_PER_S, 1.0, 0.0) is heating
    assert follow(heating, _now(21.0), 30 * NS_PER_S, 1.0, 0.0) is not heating


def test_a_trail_keeps_five_minutes_and_no_more() -> None:
    trail = _warmed([20.0] * 2000).trails[0]
    assert len(trail) <= 32
    assert (trail[-1][0] - trail[0][0]) / NS_PER_S == pytest.approx(310.0, abs=10.0)


def test_slow_frames_still_show_a_slope() -> None:
    trail = _warmed([20.0, 30.0, 40.0], step_s=600.0).trails[0]
    assert rate_c_min(trail, 60.0) == pytest.approx(1.0)


@pytest.mark.parametrize("broken", ["gap", "missing"])
def test_no_rate_reaches_across(broken: str) -> None:
    heating = _warmed([20.0] * 200)
    value, gap_s = (None, 0.0) if broken == "missing" else (30.0, 40.0)
    heating = follow(heating, _now(value), 240 * NS_PER_S, 40.0, gap_s)
    heating = follow(heating, _now(30.0), 250 * NS_PER_S, 10.0, 0.0)
    assert change(heating.trails[0], 60.0) is None


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, None),
        ({"heat_on": 0.0}, ""),
        ({"heat_on": 1.0}, "heat signal is on"),
        ({"heat_current_inner_a": 0.2, "heat_on": 1.0}, "heat signal is on"),
        ({"heat_current_inner_a": 0.2, "heat_current_outer_a": 6.8}, "outer pad takes 6.8 A"),
        ({"contactor_closed": 1.0, "heat_on": 0.0}, "contactor is closed"),
        ({"contactor_closed": 0.0}, ""),
    ],
)
def test_what_shows_heat(values: dict[str, float], said: str | None) -> None:
    assert heat_seen(_view(values)) == said


def test_own_current_tells_of_its_own_pad_only() -> None:
    view = _view({"heat_current_inner_a": 6.9})
    assert flows(view, 0) is True
    assert flows(view, 1) is None


@pytest.mark.parametrize(
    ("values", "off"),
    [
        ({"pad_inner_c": 137.0}, False),
        ({"pad_inner_c": 135.9}, True),
        ({"pad_inner_c": 135.9, "pad_outer_c": 139.0}, False),
        ({"pad_inner_c": 140.0, "contactor_closed": 0.0}, True),
        ({}, False),
    ],
)
def test_a_thermostat_that_rests_is_not_heat_taken_away(
    values: dict[str, float], off: bool
) -> None:
    assert surely_off(_view(values), (140.0, 140.0), 4.0) is off


def _currents(inner: list[float], outer: list[float]) -> Currents:
    currents = NONE_YET
    for index, (one, other) in enumerate(zip(inner, outer, strict=True)):
        values = {"heat_current_inner_a": one, "heat_current_outer_a": other}
        currents = follow_current(currents, _view(values, 10 * index), 0.8)
    return currents


def test_a_joint_shows_as_by_ohms_law() -> None:
    """230 V over 33.06 ohm and then over 1.1 ohm more."""
    sound_a, loose_a = 230 / 33.06, 230 / (33.06 + 1.1)  # Ohm's law
    currents = _currents([sound_a] * 140, [sound_a] * 40 + [loose_a] * 100)
    assert currents.heaters[1].share == pytest.approx(loose_a / sound_a, abs=5e-4)
    assert currents.heaters[0].share == pytest.approx(1.0, abs=0.021)
    assert currents.heaters[1].low_looks == 0


def test_the_mains_take_both_down_and_no_heater_is_blamed() -> None:
    currents = _currents([6.9] * 40 + [4.8] * 100, [6.8] * 40 + [4.73] * 100)
    assert [heater.share for heater in currents.heaters] == pytest.approx([1.0, 1.0], abs=2e-3)
    assert [heater.low_looks for heater in currents.heaters] == [0, 0]


@pytest.mark.parametrize("shown_a", [1.3, 6.0])
def test_a_look_just_as_it_switches_off_is_no_change(shown_a: float) -> None:
    inner = ([6.9] * 5 + [shown_a, 0.0, 0.0]) * 30
    currents = _currents(inner, [6.9] * len(inner))
    assert currents.heaters[0].first_a == 6.9
    assert currents.heaters[0].share == pytest.approx(1.0, abs=1e-9)
    assert currents.heaters[0].low_looks <= 1


def _turns(inner_a: list[float], outer_a: list[float]) -> Currents:
    """A first figure with both on, then turns of a minute each: never on at once."""
    inner, outer = [6.9] * 30, [6.9] * 30
    for one, other in zip(inner_a, outer_a, strict=True):
        inner += [one] * 6 + [0.0] * 6
        outer += [0.0] * 6 + [other] * 6
    return _currents(inner, outer)


def test_a_joint_shows_though_the_heaters_take_turns() -> None:
    currents = _turns([6.9] * 6, [6.69] * 6)
    assert currents.heaters[1].share == pytest.approx(1.0)
    assert currents.turns.shares[1] == pytest.approx(6.69 / 6.9, abs=1e-3)
    assert currents.turns.shares[0] >= 1.0


def test_the_mains_fall_between_two_turns_and_no_heater_is_blamed() -> None:
    for turn in range(1, 9):
        falls = _turns(
            [6.9] * turn + [6.56] * (9 - turn), [6.9] * (turn - 1) + [6.56] * (10 - turn)
        )
        assert min(falls.turns.shares) == pytest.approx(1.0, abs=0.012)


def test_with_no_currents_nothing_is_remembered() -> None:
    assert follow_current(NONE_YET, _view({"pad_inner_c": 140.0}), 0.8) is NONE_YET
