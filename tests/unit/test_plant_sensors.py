"""Instruments and the relay module's time-out."""

from random import Random
from statistics import mean, pstdev

import pytest

from simulator.panel import COILS, Controls, RelayModule
from simulator.sensors import THERMOCOUPLE, Failure, Instrument, InstrumentSettings


def draws(seed):
    return Random(seed)  # noqa: S311 - repeatable noise, no secret


QUIET = InstrumentSettings(lag_s=4.0, noise=0.0, quantum=0.1)


def test_lag_is_first_order():
    instrument = Instrument(QUIET, draws(1), 20.0)
    for _ in range(400):
        instrument.advance(0.01, 120.0)
    assert instrument.shown == pytest.approx(20 + 100 * (1 - 2.718281828**-1), abs=0.2)


def test_noise_has_its_size_and_steps_its_quantum():
    instrument = Instrument(THERMOCOUPLE, draws(1), 50.0)
    shown = []
    for _ in range(4000):
        instrument.advance(0.25, 50.0)
        shown.append(instrument.shown)
    assert mean(shown) == pytest.approx(50.0, abs=0.01)
    # quantisation adds q^2/12 to the variance (uniform error)
    assert pstdev(shown) == pytest.approx((0.10**2 + 0.1**2 / 12) ** 0.5, rel=0.05)
    assert all(abs(value * 10 - round(value * 10)) < 1e-9 for value in shown)


def test_same_seed_same_samples_whatever_failed_between():
    def samples(failure):
        instrument = Instrument(THERMOCOUPLE, draws("seed"), 50.0)
        instrument.failure = failure
        for _ in range(50):
            instrument.advance(0.25, 50.0)
        instrument.failure = Failure.NONE
        instrument.advance(0.25, 50.0)
        return instrument.shown

    assert samples(Failure.NONE) == samples(Failure.FROZEN) == samples(Failure.OPEN)


@pytest.mark.parametrize(("failure", "moves"), [(Failure.NONE, True), (Failure.FROZEN, False)])
def test_only_a_frozen_instrument_stands_still(failure, moves):
    instrument = Instrument(QUIET, draws(1), 20.0)
    instrument.failure = failure
    instrument.advance(60.0, 120.0)
    assert (instrument.shown != 20.0) is moves


@pytest.mark.parametrize(
    ("timeout_s", "heard", "stays"),
    [
        (5.0, True, True),
        (5.0, False, False),
        (0.0, False, True),
    ],
)
def test_coils_open_only_after_silence(timeout_s, heard, stays):
    relays = RelayModule()
    relays.timeout_s = timeout_s
    relays.coils = dict.fromkeys(COILS, True)
    for _ in range(24):
        relays.advance(0.25)
        if heard:
            relays.heard()
    assert all(relays.coils.values()) is stays
    assert any(relays.coils.values()) is stays


def test_coils_stay_closed_up_to_the_time_out():
    relays = RelayModule()
    relays.coils["heat_permit"] = True
    relays.advance(5.0)
    assert relays.coils["heat_permit"]
    relays.advance(0.25)
    assert not relays.coils["heat_permit"]


def test_a_press_lasts_as_long_as_it_is_held():
    controls = Controls()
    controls.press("here_button", 10.0, 2.0)
    assert [controls.pressed("here_button", now_s) for now_s in (10.0, 11.75, 12.0)] == [
        True,
        True,
        False,
    ]
    assert not controls.pressed("start_button", 10.0)
