"""How long a reading may stand still, against plain recomputation and against chance."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.stillness import TURNS_MIN, UNSEEN, Stillness, flickers, follow, stands_still

SEED = 20260314


def folded(samples) -> Stillness:
    still = UNSEEN
    for value in samples:
        still = follow(still, float(value))
    return still


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from([139.8, 139.9, 140.0, 140.1]), min_size=1, max_size=120))
def test_the_same_as_plain_recomputation_over_all_samples(samples):
    still = folded(samples)
    changed = [place for place, (one, two) in enumerate(pairwise(samples), 1) if one != two]
    runs = [after - before for before, after in pairwise([0, *changed])]
    ups = [samples[place] > samples[place - 1] for place in changed]
    mean = (15 / 16) ** len(runs) + sum(
        run / 16 * (15 / 16) ** age for age, run in enumerate(reversed(runs))
    )
    longest = max((run * 0.995**age for age, run in enumerate(reversed(runs))), default=0.0)
    assert still.value == samples[-1]
    assert still.still == len(samples) - 1 - (changed[-1] if changed else 0)
    assert still.mean_count == pytest.approx(mean)
    assert still.longest_count == pytest.approx(longest)
    assert still.changes == min(len(runs), 30)
    assert still.turns == min(sum(one != two for one, two in pairwise(ups)), TURNS_MIN)


def shown(noise, quantum, count, *, swing=0.0):
    """A pad about 140 C with a noisy instrument that shows whole steps of `quantum`."""
    generator = np.random.default_rng(SEED)
    true = 140.0 + swing * np.sin(np.arange(count) * 2 * np.pi / 60)
    return np.round((true + generator.normal(0.0, noise, count)) / quantum) * quantum


@pytest.mark.parametrize(
    ("noise", "quantum", "swing"),
    [
        (0.1, 0.1, 0.0),
        (0.1, 0.1, 1.5),
        (0.5, 0.1, 1.5),  # five times the noise
        (0.06, 0.1, 0.3),
        (0.1, 1.0, 1.5),  # whole degrees on a thermostat that cycles every 10 min
    ],
)
def test_a_sound_instrument_is_never_called_frozen(noise, quantum, swing):
    """A hundred hours of samples every 10 s."""
    still = UNSEEN
    for value in shown(noise, quantum, 36_000, swing=swing):
        still = follow(still, float(value))
        assert not stands_still(still)


@pytest.mark.parametrize(("noise", "swing", "within"), [(0.1, 0.0, 18), (0.5, 1.5, 12)])
def test_a_frozen_one_is_found_within_three_minutes(noise, swing, within):
    samples = shown(noise, 0.1, 400, swing=swing)
    still = folded(samples)
    count = 0
    while not stands_still(still):
        still, count = follow(still, float(samples[-1])), count + 1
    assert 9 <= count <= within


def test_one_that_freezes_after_a_few_swings_of_its_thermostat_is_found():
    """Cure 700013 of the campaign: 20 min into the hold it had turned round seven times."""
    generator = np.random.default_rng(SEED)
    ramp = 20.0 + 0.5 * np.arange(240)
    hold = 140.0 + 1.5 * np.sin(np.arange(90) * 2 * np.pi / 30)
    samples = np.concatenate([ramp, hold]) + generator.normal(0.0, 0.03, 330)
    still = folded(np.round(samples / 0.1) * 0.1)
    assert flickers(still)
    for _ in range(20):
        still = follow(still, still.value)
    assert stands_still(still)


def test_one_that_never_flickers_is_not_judged():
    straight = [20.0 + 0.8 * step for step in range(150)] + [140.0] * 500
    still = folded(straight)
    assert not flickers(still)
    assert not stands_still(still)


def test_a_rare_long_rest_makes_it_patient():
    """Whole degrees: flickers at the edge of a step, rests in the middle of one."""
    edge = [140.0, 141.0] * 40
    hasty, patient = folded(edge), folded([*edge, *[141.0] * 8, *edge])
    hasty, patient = (folded_on(still, [140.0] * 14) for still in (hasty, patient))
    assert stands_still(hasty)
    assert not stands_still(patient)


def folded_on(still, samples):
    for value in samples:
        still = follow(still, value)
    return still
