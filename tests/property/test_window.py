"""`rules.window` against plain recomputation over all samples with numpy."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.frame import NS_PER_S
from rules.window import Window

# Frame periods from 10 Hz to one a minute, steady, ragged and with long silences.
STEPS_S = st.one_of(
    st.floats(0.05, 0.2), st.floats(0.5, 2), st.floats(10, 70), st.floats(600, 5000)
)
SAMPLES = st.lists(st.tuples(STEPS_S, st.floats(-30, 250, width=32)), min_size=1, max_size=120)


def _filled(
    span_s: float, buckets_max: int, samples: list[tuple[float, float]]
) -> tuple[Window, np.ndarray, np.ndarray]:
    window, at_ns, times_ns = Window(span_s, buckets_max), 0, []
    for step_s, value in samples:
        at_ns += round(step_s * NS_PER_S)
        times_ns.append(at_ns)
        window = window.push(at_ns, value)
    return window, np.array(times_ns), np.array([value for _, value in samples])


@settings(max_examples=150, deadline=None)
@given(samples=SAMPLES, span_s=st.sampled_from([5.0, 60.0, 600.0]), buckets_max=st.integers(2, 40))
def test_it_keeps_the_span_and_tells_the_truth_about_what_it_keeps(samples, span_s, buckets_max):
    window, times_ns, values = _filled(span_s, buckets_max, samples)
    count = sum(bucket.samples for bucket in window.buckets)
    kept_ns, kept = times_ns[-count:], values[-count:]

    # All of the span and the newest interval, and at most one bucket before them.
    horizon_ns = times_ns[-1] - round(span_s * NS_PER_S)
    width_ns = round(span_s * NS_PER_S) // buckets_max
    assert count >= np.count_nonzero(times_ns >= horizon_ns)
    assert count >= min(2, len(values))
    oldest_needed_ns = min(horizon_ns, times_ns[-2:][0])
    assert count <= max(1, np.count_nonzero(times_ns > oldest_needed_ns - max(width_ns, 1)))
    assert len(window.buckets) <= buckets_max + 2

    assert window.low == kept.min()
    assert window.high == kept.max()
    assert window.first == kept[0]
    assert window.last == kept[-1]
    assert window.covered_s == (kept_ns[-1] - kept_ns[0]) / NS_PER_S
    np.testing.assert_allclose(sum(b.total for b in window.buckets), kept.sum(), rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(values=st.lists(st.floats(-30, 250, width=32), min_size=1, max_size=80))
def test_the_median_is_exact_while_each_sample_has_its_bucket(values):
    # 60 s in 30 buckets is 2 s a bucket; one sample each 2 s fills it.
    window, _, _ = _filled(60.0, 30, [(2.0, value) for value in values])
    kept = np.array(values[-sum(bucket.samples for bucket in window.buckets) :])
    assert window.median == np.median(kept)


@settings(max_examples=60, deadline=None)
@given(
    rate_per_s=st.floats(-0.5, 0.5),
    period_s=st.sampled_from([0.1, 1.0, 7.0]),
    count=st.integers(2, 300),
)
def test_the_median_of_a_ramp_is_right_to_a_bucket(rate_per_s, period_s, count):
    samples = [(period_s, rate_per_s * period_s * number) for number in range(count)]
    window, _, values = _filled(60.0, 30, samples)
    kept = values[-sum(bucket.samples for bucket in window.buckets) :]
    bucket_s = max(60.0 / 30, period_s)
    assert abs(window.median - np.median(kept)) <= abs(rate_per_s) * bucket_s + 1e-9
