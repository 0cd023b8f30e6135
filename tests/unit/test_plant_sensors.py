"""Instruments: what each shows of the truth, and what each failure leaves of it.

The sums (first-order lag, uniform error of quantisation, a thermocouple as the
difference to its terminals) are textbook physics, held here against `math` and
`statistics`; sizes are our own.
"""

import copy
import math
import pickle
from random import Random
from statistics import correlation, mean, pstdev

import pytest

from simulator.sensors import (
    CURRENT_CLAMP,
    THERMOCOUPLE,
    TRANSMITTER,
    Failure,
    Instrument,
    InstrumentSettings,
    TerminalBox,
)

QUIET = InstrumentSettings(lag_s=4.0, noise=0.0, quantum=0.1)
NUMBERS = [failure for failure in Failure if failure is not Failure.GARBAGE]


def draws(seed):
    return Random(seed)  # noqa: S311 - repeatable noise, no secret


def settled(settings=QUIET, true=140.0, **knobs):
    instrument = Instrument(settings, draws(1), true)
    for name, value in knobs.items():
        assert hasattr(instrument, name)
        setattr(instrument, name, value)
    return instrument


def sample(instrument, true, *, dt_s=1.0, ambient_c=20.0, box=None):
    instrument.advance(dt_s, true, ambient_c=ambient_c, box=box)
    return instrument.shown


def samples(instrument, true, count, **around):
    return [sample(instrument, true, **around) for _ in range(count)]


@pytest.mark.parametrize("dt_s", [0.01, 0.25, 1.0, 4.0])
def test_lag_is_first_order_whatever_the_step(dt_s):
    instrument = settled(true=20.0)
    for _ in range(round(4.0 / dt_s)):
        sample(instrument, 120.0, dt_s=dt_s)
    assert instrument.shown == pytest.approx(20 + 100 * (1 - math.exp(-1)), abs=0.051)


def test_noise_has_its_size_and_steps_its_quantum():
    shown = samples(settled(THERMOCOUPLE, 50.0), 50.0, 4000)
    assert mean(shown) == pytest.approx(50.0, abs=0.01)
    # quantisation adds q²/12 to the variance (uniform error)
    assert pstdev(shown) == pytest.approx((0.10**2 + 0.1**2 / 12) ** 0.5, rel=0.05)
    assert all(abs(value * 10 - round(value * 10)) < 1e-9 for value in shown)
    # one sample knows nothing of the next
    assert abs(correlation(shown[1:], shown[:-1])) < 0.05


@pytest.mark.parametrize(("factor", "times"), [(1.0, 1.0), (8.0, 8.0)])
def test_noise_grows_by_its_factor(factor, times):
    fine = InstrumentSettings(lag_s=1.0, noise=0.1, quantum=0.001)
    shown = samples(settled(fine, 50.0, noise_factor=factor), 50.0, 3000)
    assert pstdev(shown) == pytest.approx(0.1 * times, rel=0.05)


def test_a_current_clamp_never_shows_minus_nothing():
    shown = samples(settled(CURRENT_CLAMP, 0.0), 0.0, 500)
    assert not any(value == 0 and math.copysign(1, value) < 0 for value in shown)
    assert min(shown) < 0 < max(shown)


@pytest.mark.parametrize("failure", Failure)
def test_same_seed_same_samples_whatever_failed_between(failure):
    def last(failure):
        instrument = settled(THERMOCOUPLE, 50.0)
        instrument.failure = failure
        samples(instrument, 50.0, 700)  # beyond one block of draws
        instrument.failure = Failure.NONE
        return samples(instrument, 50.0, 20)

    assert last(failure) == last(Failure.NONE)


@pytest.mark.parametrize("twin_of", [copy.deepcopy, lambda it: pickle.loads(pickle.dumps(it))])  # noqa: S301 - our own bytes
@pytest.mark.parametrize("after", [3, 512, 700])
def test_a_copy_goes_on_equal_to_the_bit(twin_of, after):
    instrument = settled(THERMOCOUPLE, 50.0, drift_per_h=2.0, failure=Failure.JUMPING)
    samples(instrument, 60.0, after)
    twin = twin_of(instrument)
    assert samples(instrument, 70.0, 1100) == samples(twin, 70.0, 1100)


def test_seeds_differ():
    one, other = (Instrument(TRANSMITTER, draws(seed), 200.0) for seed in (1, 2))
    assert samples(one, 200.0, 20) != samples(other, 200.0, 20)


@pytest.mark.parametrize("failure", [Failure.NONE, Failure.FROZEN])
def test_only_a_frozen_instrument_stands_still(failure):
    instrument = settled(true=20.0, failure=failure)
    sample(instrument, 120.0, dt_s=60.0)
    assert (instrument.shown == 20.0) is (failure is Failure.FROZEN)


@pytest.mark.parametrize(("failure", "leaps"), [(Failure.NONE, False), (Failure.JUMPING, True)])
def test_a_loose_terminal_leaps_about_a_third_of_the_time(failure, leaps):
    shown = samples(settled(THERMOCOUPLE, 140.0, failure=failure), 140.0, 2000)
    wild = [value for value in shown if abs(value - 140.0) > 20.0]
    # A normal draw is beyond one standard deviation in 31.7 % of cases (any table).
    assert len(wild) / len(shown) == pytest.approx(0.317 if leaps else 0.0, abs=0.03)
    assert all(abs(value - 140.0) < 5 * THERMOCOUPLE.leap_scale for value in wild)


def test_garbage_is_no_number_or_one_that_cannot_be():
    shown = samples(settled(THERMOCOUPLE, 140.0, failure=Failure.GARBAGE), 140.0, 400)
    numbers = [value for value in shown if not math.isnan(value)]
    assert 0.2 < 1 - len(numbers) / len(shown) < 0.4
    assert all(abs(value) >= 2000.0 for value in numbers)


@pytest.mark.parametrize("failure", NUMBERS)
def test_nothing_else_is_no_number(failure):
    assert all(map(math.isfinite, samples(settled(THERMOCOUPLE, failure=failure), 140.0, 400)))


@pytest.mark.parametrize(
    ("unplugged", "failure", "telling"),
    [
        (False, Failure.NONE, Failure.NONE),
        (True, Failure.NONE, Failure.OPEN),
        (True, Failure.FROZEN, Failure.OPEN),
        (False, Failure.FROZEN, Failure.FROZEN),
    ],
)
def test_an_unplugged_thermocouple_tells_open_and_forgets_it(unplugged, failure, telling):
    instrument = settled(unplugged=unplugged, failure=failure)
    assert instrument.telling is telling
    assert instrument.failure is failure


def test_an_offset_shows_at_once_and_a_drift_grows_by_the_hour():
    instrument = settled(offset=3.0, drift_per_h=4.0)
    sample(instrument, 140.0)
    assert instrument.shown == pytest.approx(143.0)
    samples(instrument, 140.0, 5400 - 1)
    assert instrument.shown == pytest.approx(140 + 3 + 6.0)  # 1.5 h at 4 °C/h
    instrument.drift_per_h = 0.0
    sample(instrument, 140.0)
    assert instrument.shown == pytest.approx(143.0)  # mended: what had drifted is gone


@pytest.mark.parametrize(("share", "shows_c"), [(0.0, 140.0), (0.25, 110.0), (1.0, 20.0)])
def test_a_detached_thermocouple_tends_to_the_air(share, shows_c):
    instrument = settled(detached_share=share)
    samples(instrument, 140.0, 600, ambient_c=20.0)
    assert instrument.shown == pytest.approx(shows_c, abs=0.1)


@pytest.mark.parametrize(("share", "follows"), [(0.0, True), (1.0, False)])
def test_a_hanging_thermocouple_is_slow(share, follows):
    instrument = settled(true=20.0, detached_share=share)
    samples(instrument, 100.0, 16, ambient_c=100.0)  # four of its own lags
    assert (instrument.shown > 97.0) is follows


@pytest.mark.parametrize(("blocked", "shows_kpa"), [(False, 0.0), (True, 159.0)])
def test_a_blocked_tap_still_shows_what_was(blocked, shows_kpa):
    quiet = InstrumentSettings(lag_s=0.3, noise=0.0, quantum=0.05)
    instrument = settled(quiet, 204.0, tap_blocked=blocked)
    samples(instrument, 0.0, 300)
    assert instrument.shown == pytest.approx(shows_kpa, abs=1.0)  # 204 exp(-300/1200)


@pytest.mark.parametrize(("factor", "shows_c"), [(1.0, 99.5), (10.0, 41.4)])
def test_lag_grows_by_its_factor(factor, shows_c):
    instrument = settled(true=20.0, lag_factor=factor)
    samples(instrument, 100.0, 20 if factor == 1.0 else 13)
    assert instrument.shown == pytest.approx(shows_c, abs=1.0)


def test_a_box_follows_the_air_in_twenty_minutes():
    box = TerminalBox(20.0)
    for _ in range(1200):
        box.advance(1.0, ambient_c=-15.0, sun_w_m2=0.0)
    assert box.temperature_c == pytest.approx(20 - 35 * (1 - math.exp(-1)), abs=0.1)


@pytest.mark.parametrize(
    ("sun_w_m2", "warm_c", "ends_c"), [(0.0, 0.0, 20.0), (800.0, 0.0, 36.0), (0.0, 12.0, 32.0)]
)
def test_sun_and_neighbours_warm_the_box(sun_w_m2, warm_c, ends_c):
    box = TerminalBox(20.0)
    box.box_warm_c = warm_c
    for _ in range(10 * 1200):
        box.advance(1.0, ambient_c=20.0, sun_w_m2=sun_w_m2)
    assert box.temperature_c == pytest.approx(ends_c, abs=0.01)
    assert box.shift_c == pytest.approx(0.0, abs=0.01)  # a warm box is no error, once it rests


def test_a_box_that_warms_quickly_is_an_error_common_to_all():
    box = TerminalBox(20.0)
    for _ in range(180):
        box.advance(1.0, ambient_c=20.0, sun_w_m2=900.0)
    instrument = settled()
    sample(instrument, 140.0, box=box)
    # 18 °C over 1200 s, sensed 60 s late: the cold junction is thought some 0.8 °C too cold
    assert -1.0 < box.shift_c < -0.5
    assert instrument.shown == pytest.approx(140.0 + box.shift_c, abs=0.051)


def test_an_error_of_the_cold_junction_shifts_what_ends_in_the_box_and_nothing_else():
    box = TerminalBox(20.0)
    box.error_c = 5.0
    inside, outside = settled(), settled()
    sample(inside, 140.0, box=box)
    sample(outside, 140.0)
    assert (inside.shown, outside.shown) == (pytest.approx(145.0), pytest.approx(140.0))


@pytest.mark.parametrize(
    ("failure", "true_c", "shows_c"),
    [
        (Failure.NONE, 140.0, 140.0),
        (Failure.REVERSED, 140.0, -90.0),  # 2 x 25 - 140
        (Failure.REVERSED, 25.0, 25.0),  # as warm as the terminals: nothing to turn round
        (Failure.REVERSED, 60.0, -10.0),
    ],
)
def test_swapped_wires_turn_the_difference_to_the_terminals_round(failure, true_c, shows_c):
    instrument = settled(true=true_c, failure=failure)
    sample(instrument, true_c, box=TerminalBox(25.0))
    assert instrument.shown == pytest.approx(shows_c)
