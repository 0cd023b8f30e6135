"""The hidden truth of cure against Arrhenius and the exact course of a plain slab."""

import copy
from math import exp

import numpy as np
import pytest

from simulator.cured import CompoundSettings, Cured

GAS_J_MOL_K = 8.314462618  # CODATA 2018
LENGTH_M = 0.040
ALPHA = 1.1e-7
START_C = 20.0


def cured(cells=3, cures=None, **compound):
    return Cured(CompoundSettings(**compound), np.ones(cells, bool) if cures is None else cures)


def earn(truth, minutes, centre_c, edge_c=None):
    """Hold both columns at one temperature."""
    shape = truth.centre_min.size
    for _ in range(round(minutes * 60)):
        truth.advance(
            1.0, np.full(shape, centre_c), np.full(shape, centre_c if edge_c is None else edge_c)
        )
    return truth


def test_a_minute_at_reference_is_worth_a_minute():
    truth = earn(cured(), 30, 140.0)
    assert truth.centre_min == pytest.approx([30.0] * 3)
    assert truth.edge_min == pytest.approx([30.0] * 3)


@pytest.mark.parametrize(
    ("energy_kj_mol", "from_c", "to_c"),
    # "rate doubles each 10 °C" (common practice, no source) is 96.0 kJ/mol between 130 and
    # 140 °C and 100.8 between 140 and 150 °C
    [(96.0, 130.0, 140.0), (100.8, 140.0, 150.0)],
)
def test_the_rate_doubles_where_practice_says(energy_kj_mol, from_c, to_c):
    slow = earn(cured(activation_energy_kj_mol=energy_kj_mol), 10, from_c)
    fast = earn(cured(activation_energy_kj_mol=energy_kj_mol), 10, to_c)
    assert fast.centre_min[0] / slow.centre_min[0] == pytest.approx(2.0, rel=2e-3)


@pytest.mark.parametrize("temperature_c", [20.0, 100.0, 120.0, 160.0])
@pytest.mark.parametrize("reference_c", [140.0, 150.0])
def test_worth_follows_arrhenius(temperature_c, reference_c):
    truth = earn(cured(reference_c=reference_c), 20, temperature_c)
    colder_1_k = 1 / (temperature_c + 273.15) - 1 / (reference_c + 273.15)
    assert truth.edge_min[0] == pytest.approx(20 * exp(-90_000 / GAS_J_MOL_K * colder_1_k))


def exact_c(x_m, at_s):
    """Carslaw & Jaeger, 2nd ed., ch. 3: both faces at 140 °C from t = 0; shape (times,)."""
    n = np.arange(1, 200, 2)
    sines = 4 / (n * np.pi) * np.sin(n * np.pi * x_m / LENGTH_M)
    decay = np.exp(-ALPHA * (n * np.pi / LENGTH_M) ** 2 * np.asarray(at_s)[:, None])
    return 140.0 + (START_C - 140.0) * (decay * sines).sum(axis=1)


def test_two_hours_of_a_plain_slab_are_worth_the_published_minutes():
    truth = cured(cells=2)
    at_s = np.arange(7200) + 0.5
    middle, quarter = exact_c(LENGTH_M / 2, at_s), exact_c(LENGTH_M / 4, at_s)
    for pair in zip(middle, quarter, strict=True):
        column_c = np.array(pair)
        truth.advance(1.0, column_c, column_c)
    # check values of the project: 140/140, midplane and quarter depth, 90 kJ/mol
    assert truth.centre_min == pytest.approx([50.904640, 58.899895], abs=2e-3)
    assert truth.least_min == pytest.approx(50.904640, abs=2e-3)
    assert truth.most_min == pytest.approx(58.899895, abs=2e-3)


def test_columns_are_kept_apart():
    truth = earn(cured(), 10, 140.0, 120.0)
    assert truth.least_min == pytest.approx(10.0)
    # 90 kJ/mol from 140 to 120 °C: exp(-90000 / R * (1/393.15 - 1/413.15)) = 0.2638
    assert truth.edge_least_min == pytest.approx(2.638, abs=0.001)


def test_only_layers_that_cure_earn():
    truth = earn(cured(cures=np.array([True, False, True])), 10, 140.0)
    assert truth.centre_min == pytest.approx([10.0, 0.0, 10.0])
    assert truth.edge_min == pytest.approx([10.0, 0.0, 10.0])
    assert truth.least_min == pytest.approx(10.0)


def test_a_step_counts_by_its_length():
    long, short = cured(), cured()
    for _ in range(120):
        long.advance(5.0, np.full(3, 130.0), np.full(3, 130.0))
    for _ in range(2400):
        short.advance(0.25, np.full(3, 130.0), np.full(3, 130.0))
    assert short.centre_min == pytest.approx(long.centre_min)


def test_another_tyre_has_earned_nothing():
    truth = earn(cured(), 10, 140.0)
    truth.advance(1.0, np.full(3, 500.0), np.full(3, 500.0))
    truth.renew()
    earn(truth, 10, 140.0)
    assert truth.centre_min == pytest.approx([10.0] * 3)


def test_a_fork_in_mid_sum_earns_the_same_and_leaves_the_other_alone():
    truth = cured()
    for second in range(7):
        truth.advance(1.0, np.full(3, 130.0 + second), np.full(3, 120.0))
    fork = copy.deepcopy(truth)
    earn(fork, 1, 150.0)
    before = truth.centre_min.tobytes()
    earn(truth, 1, 150.0)
    assert truth.centre_min.tobytes() == fork.centre_min.tobytes() != before
