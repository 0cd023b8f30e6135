"""`rules.window`: the cases that a hazard leans on."""

import pytest

from rules.frame import NS_PER_S
from rules.window import Window


def _filled(span_s: float, samples: list[tuple[float, float]], buckets_max: int = 30) -> Window:
    window = Window(span_s, buckets_max)
    for at_s, value in samples:
        window = window.push(round(at_s * NS_PER_S), value)
    return window


def test_an_empty_window_knows_nothing():
    empty = Window(60)
    assert (empty.low, empty.high, empty.first, empty.last, empty.median) == (None,) * 5
    assert empty.covered_s == 0


def test_it_forgets_what_is_older_than_its_span():
    window = _filled(5, [(second, second) for second in range(20)])
    assert (window.first, window.last, window.covered_s) == (14, 19, 5)


def test_a_slow_trace_still_shows_a_fall_over_one_interval():
    window = _filled(5, [(0, 207), (60, 206), (120, 150)])
    assert (window.first, window.last, window.covered_s) == (206, 150, 60)


def test_what_was_before_a_silence_goes_once_two_newer_samples_are_there():
    # One bucket is 20 s wide, so both new samples share one.
    window = _filled(600, [(0, 140), (3600, 20), (3601, 21)])
    assert (window.first, window.high, window.covered_s) == (20, 21, 1)


def test_ten_minutes_cost_the_same_at_ten_hertz():
    window = _filled(600, [(tenth / 10, tenth % 7) for tenth in range(20_000)])
    assert len(window.buckets) <= 32
    assert 600 <= window.covered_s < 620
    assert (window.low, window.high) == (0, 6)


@pytest.mark.parametrize(("samples", "median"), [([3.0, 1.0, 2.0], 2.0), ([4.0, 1.0], 2.5)])
def test_median_of_odd_and_even_counts(samples, median):
    assert _filled(60, [(10.0 * n, v) for n, v in enumerate(samples)]).median == median


def test_clearing_keeps_the_settings_and_the_object_when_there_is_nothing_to_clear():
    window = _filled(60, [(0, 1.0)], buckets_max=7)
    cleared = window.cleared()
    assert (cleared.span_s, cleared.buckets_max, cleared.buckets) == (60, 7, ())
    assert cleared.cleared() is cleared
