"""The model of the air in the bags, against the gas law and against plain recomputation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.air import Air, AirLimits, Doing, follow
from rules.averages import FAR_S, MIDDLE_S, NEAR_S, begun
from rules.facts import AirMode, RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.signals import now_of

STEP_S = 3.0


def _frame(at_s: float, **values: float) -> Frame:
    at_ns = round(at_s * NS_PER_S)
    readings = {
        name: Reading(value, Quality.GOOD, Reason.NONE, at_ns) for name, value in values.items()
    }
    return Frame(0, at_ns, at_ns, True, "case", readings)


def _run(mode: AirMode, frames: list[Frame], altitude_m: float = 0.0) -> list[Air]:
    facts = RigFacts(air_mode=mode, site_altitude_m=altitude_m)
    air, seen = Air(), []
    for frame in frames:
        air = follow(AirLimits(), air, facts, frame, now_of(frame), frame.t_ns, 0.0)
        seen.append(air)
    return seen


def _sealed(share: float, around_kpa: float = 101.325, ambient_c: float = 20.0) -> list[Frame]:
    """A bag filled cold, then warmed by its pad with a lag of 300 s, never losing air."""
    frames, warm_k, ambient_k = [], 0.0, 273.15 + ambient_c
    for step in range(2400):
        at_s = step * STEP_S
        pad_c = ambient_c + min(120.0, at_s / 30.0)
        warm_k += (pad_c - ambient_c - warm_k) * (1 - np.exp(-STEP_S / 300.0))
        gas_k = ambient_k + share * warm_k
        kpa = (206.84 + around_kpa) * gas_k / ambient_k - around_kpa  # gas law, constant volume
        kpa = 0.0 if step == 0 else kpa
        frames.append(_frame(at_s, pad_inner_c=pad_c, ambient_c=ambient_c, bag_inner_kpa=kpa))
    return frames


@pytest.mark.parametrize("ambient_c", [-15.0, 20.0, 40.0])
@pytest.mark.parametrize("share", [0.32, 0.45, 0.58])
def test_a_sealed_bag_that_is_heated_loses_nothing(share: float, ambient_c: float) -> None:
    """Ideal gas at constant volume: brought to one temperature its pressure stands still."""
    seen = _run(AirMode.LOCKED_OFF, _sealed(share, ambient_c=ambient_c))
    last = seen[-1].bags[0]
    assert last.share == pytest.approx(share, abs=0.02)
    assert last.corrected_kpa == pytest.approx(
        (206.84 + 101.325) * 293.15 / (273.15 + ambient_c), rel=0.01
    )
    assert last.rate_kpa_per_h == pytest.approx(0.0, abs=1.0)
    assert last.doing is Doing.STEADY


def test_the_gauge_is_brought_to_absolute_by_the_altitude() -> None:
    """At 4000 m 61.640 kPa are around (ISO 2533); taken for 101 the share comes out wrong."""
    frames = _sealed(0.45, around_kpa=61.640)
    right = _run(AirMode.LOCKED_OFF, frames, altitude_m=4000.0)[-1].bags[0]
    wrong = _run(AirMode.LOCKED_OFF, frames)[-1].bags[0]
    assert right.share == pytest.approx(0.45, abs=0.01)
    assert wrong.share < 0.41


def test_207_kpa_at_20_c_are_291_at_100() -> None:
    """The other way round: 291.141 kPa gauge at 100 C are 308.325 kPa absolute at 20 C."""
    frame = _frame(0.0, pad_inner_c=100.0, ambient_c=20.0, bag_inner_kpa=291.141)
    facts, limits = RigFacts(), AirLimits(gas_share=1.0, gas_share_high=1.0)
    bag = follow(limits, Air(), facts, frame, now_of(frame), 0, 0.0).bags[0]
    assert bag.gas_c == pytest.approx(100.0)
    assert bag.corrected_kpa == pytest.approx(207 + 101.325, abs=0.001)


def _level(kpa: list[float]) -> list[Frame]:
    return [
        _frame(step * STEP_S, pad_inner_c=140.0, ambient_c=20.0, bag_inner_kpa=value)
        for step, value in enumerate(kpa)
    ]


def test_a_leak_is_told_at_its_rate() -> None:
    """24 kPa/h on the gauge at 74 C are 24 * 293.15 / 347.15 = 20.27 at 20 C."""
    frames = _level([207.0 - 24.0 * step * STEP_S / 3600 for step in range(400)])
    bag = _run(AirMode.RELIEVING, frames)[-1].bags[0]
    assert bag.rate_kpa_per_h == pytest.approx(-20.27, abs=0.1)
    assert bag.gauge_rate_kpa_per_h == pytest.approx(-24.0, abs=0.1)
    assert bag.doing is Doing.LEAKING


@pytest.mark.parametrize(
    ("mode", "change_kpa", "refilled"),
    [
        (AirMode.RELIEVING, 3.0, True),
        (AirMode.NON_RELIEVING, 3.0, True),
        (AirMode.LOCKED_OFF, 3.0, False),
        (AirMode.RELIEVING, 12.0, False),
        (AirMode.RELIEVING, -12.0, False),
    ],
)
def test_refill_and_trim_are_told_apart(mode: AirMode, change_kpa: float, refilled: bool) -> None:
    frames = _level([200.0] * 100 + [200.0 + change_kpa] * 100)
    seen = [air.bags[0] for air in _run(mode, frames)]
    assert (seen[-1].refill_kpa_per_h > 0) is refilled
    assert (seen[-1].settled_kpa is not None) is not refilled
    assert Doing.LEAKING not in {bag.doing for bag in seen}
    assert seen[-1].rate_kpa_per_h == pytest.approx(0.0, abs=1.0)


def test_filling_letting_down_and_empty() -> None:
    kpa = [0.0] * 5 + [4.0 * step for step in range(52)] + [207.0] * 40
    kpa += [max(0.0, 207.0 - 3.0 * step) for step in range(80)]
    doing = [air.bags[0].doing for air in _run(AirMode.RELIEVING, _level(kpa))]
    assert doing[4] is Doing.EMPTY
    assert doing[40] is Doing.FILLING
    assert doing[130] is Doing.LETTING_DOWN
    assert doing[-1] is Doing.EMPTY


def test_what_cannot_be_known_is_not() -> None:
    frames = _level([207.0] * 60)
    blind = _frame(60 * STEP_S, bag_inner_kpa=207.0)
    bag = _run(AirMode.RELIEVING, [*frames, blind])[-1].bags[0]
    assert bag.kpa == 207.0
    assert bag.gas_c is None
    assert bag.corrected_kpa is None
    assert bag.rate_kpa_per_h is None


def test_after_a_gap_rates_start_afresh() -> None:
    frames = _level([207.0 - 0.02 * step for step in range(200)])
    air = _run(AirMode.RELIEVING, frames)[-1]
    later = _frame(5000.0, pad_inner_c=140.0, ambient_c=20.0, bag_inner_kpa=190.0)
    bag = follow(AirLimits(), air, RigFacts(), later, now_of(later), later.t_ns, 4000.0).bags[0]
    assert bag.rate_kpa_per_h is None
    assert bag.fell_60_kpa == 0.0


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.0, 400.0), min_size=2, max_size=60), st.floats(0.5, 90.0))
def test_averages_are_what_plain_recomputation_gives(values: list[float], dt_s: float) -> None:
    """Weighted sums over all samples (NIST/SEMATECH e-Handbook 6.3.2.4), with numpy."""
    dt_ns = round(dt_s * NS_PER_S)
    averages = begun(0, values[0])
    for step, value in enumerate(values[1:], 1):
        averages = averages.push(step * dt_ns, value)
    for lag_s, found in (
        (NEAR_S, averages.near),
        (MIDDLE_S, averages.middle),
        (FAR_S, averages.far),
    ):
        kept = np.exp(-dt_ns / NS_PER_S / lag_s)
        weights = np.array([kept ** (len(values) - 1 - step) for step in range(len(values))])
        weights[1:] *= 1 - kept
        assert found == pytest.approx(float(weights @ np.array(values)), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(-500.0, 500.0), st.sampled_from([1.0, 2.0, 3.0, 10.0, 30.0]))
def test_a_straight_line_is_told_at_its_slope_from_the_first(slope: float, dt_s: float) -> None:
    averages = begun(0, 300.0)
    for step in range(1, round(600 / dt_s)):
        at_s = step * dt_s
        averages = averages.push(round(at_s * NS_PER_S), 300.0 + slope * at_s / 3600)
        if averages.rate_per_h is not None:
            assert averages.rate_per_h == pytest.approx(slope, abs=1e-3)
    assert averages.rate_per_h is not None
