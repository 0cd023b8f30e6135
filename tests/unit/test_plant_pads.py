"""Pads: heat balance, thermostat band, cut-out."""

from itertools import pairwise

import pytest

from simulator.pads import Pad, PadSettings, ThermostatState

AMBIENT_C = 20.0


def run(pad, seconds, *, powered=True, to_repair_w=None):
    shown = []
    for _ in range(round(seconds / 0.25)):
        pad.advance(0.25, powered=powered, ambient_c=AMBIENT_C, to_repair_w=to_repair_w)
        shown.append(pad.temperature_c)
    return shown


def test_heat_balance_closes():
    pad = Pad(PadSettings(), AMBIENT_C)
    pad.thermostat.set_c = 140.0
    run(pad, 3600, to_repair_w=120.0)
    run(pad, 1800, powered=False)
    stored_j = PadSettings().heat_capacity_j_k * (pad.temperature_c - AMBIENT_C)
    assert pad.heated_j - pad.lost_j - pad.given_j == pytest.approx(stored_j, rel=1e-9)


def test_unheated_pad_cools_as_newton_says():
    pad = Pad(PadSettings(), 140.0)
    run(pad, 1800, powered=False)
    size = PadSettings()
    loss_w_k = (size.back_loss_w_m2k + size.front_loss_w_m2k) * size.area_m2
    # Newton's law of cooling, one lump: exp(-U A t / C)
    exact_c = AMBIENT_C + 120 * 2.718281828 ** (-loss_w_k * 1800 / size.heat_capacity_j_k)
    assert pad.temperature_c == pytest.approx(exact_c, abs=0.05)


def test_thermostat_cycles_inside_its_band():
    pad = Pad(PadSettings(), AMBIENT_C)
    pad.thermostat.set_c = 140.0
    run(pad, 5400)
    cycles = run(pad, 3600)
    assert 138.0 < min(cycles) < 139.5
    assert 140.5 < max(cycles) < 142.5
    heated = [a < b for a, b in pairwise(cycles)]
    assert sum(a != b for a, b in pairwise(heated)) >= 6


@pytest.mark.parametrize(
    ("powered", "set_c", "heats"),
    [
        (True, 60.0, True),
        (False, 60.0, False),
        (True, None, False),
        (True, 10.0, False),
    ],
)
def test_heats_only_when_powered_and_called(powered, set_c, heats):
    pad = Pad(PadSettings(), AMBIENT_C)
    pad.thermostat.set_c = set_c
    run(pad, 60, powered=powered)
    assert pad.heating is heats
    assert (pad.temperature_c > AMBIENT_C + 1) is heats


@pytest.mark.parametrize("state", list(ThermostatState))
def test_only_a_stuck_thermostat_reaches_the_cutout(state):
    pad = Pad(PadSettings(), 135.0)
    pad.thermostat.set_c = 140.0
    pad.thermostat.state = state
    hottest_c = max(run(pad, 7200))
    stuck = state is ThermostatState.STUCK_CLOSED
    assert pad.cutout_ok is not stuck
    assert (hottest_c > PadSettings().cutout_c) is stuck
    assert hottest_c < PadSettings().cutout_c + 0.1
