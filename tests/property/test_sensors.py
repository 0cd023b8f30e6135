"""Laws of the sensors, for any signal, settings and samples."""

import math
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st
from thermocouple_its90 import TYPES

from drivers.base import Sample
from drivers.sensors import (
    ConditionSettings,
    CorrectionSettings,
    LoopSettings,
    Pt100Settings,
    ThermocoupleSettings,
    VoltageSettings,
    conditioned,
    measured,
)
from drivers.sensors.correction import corrected
from drivers.sensors.loop import loop_value
from drivers.sensors.resistance import platinum_c, resistance_ohm
from drivers.sensors.thermocouple import tip_c
from drivers.sensors.voltage import linear_value

RANK = {"bad": 0, "uncertain": 1, "good": 2}
REASONS = ("no_reply", "never_read", "open_circuit", "below_range", "not_a_number")
KINDS = st.sampled_from(("K", "J"))
VOLTAGE = VoltageSettings(
    signal="voltage",
    low_v=0.5,
    at_low_v=0.0,
    high_v=4.5,
    at_high_v=1000.0,
    valid_low_v=0.4,
    valid_high_v=4.6,
    open_v=4.8,
    short_v=0.2,
)
LOOP = LoopSettings(signal="loop", at_4_ma=0.0, at_20_ma=600.0)
SENSORS = st.one_of(
    st.none(),
    KINDS.map(lambda kind: ThermocoupleSettings(signal="thermocouple", type=kind)),
    st.just(Pt100Settings(signal="pt100")),
    st.just(VOLTAGE),
    st.just(LOOP),
    st.builds(
        lambda low, span: LoopSettings(signal="loop", at_4_ma=low, at_20_ma=low + span),
        st.floats(-1e308, 0),
        st.floats(1e292, 1e308),
    ),
)
BITS = st.lists(st.integers(0, 31), min_size=4, max_size=12, unique=True)
CONDITIONS = st.builds(
    lambda how, bits: ConditionSettings.model_validate(
        {
            "read_as": how,
            "failure": bits[0:1],
            "check_function": bits[1:2],
            "out_of_specification": bits[2:3],
            **({"good": bits[3:]} if how == "value" else {"maintenance_required": bits[3:]}),
        }
    ),
    st.sampled_from(("bits", "value")),
    BITS,
)
CORRECTIONS = st.builds(
    lambda zero, at, error: CorrectionSettings(
        on=date(2026, 10, 1), zero_reads=zero, span_at=at, span_reads=zero + at * (1 + error)
    ),
    st.floats(-5, 5),
    st.floats(20, 1e6),
    st.floats(-0.049, 0.049),
)


@st.composite
def samples(draw: st.DrawFn, *, near: float = 30.0) -> Sample:
    at_ns = draw(st.integers(0, 10**12))
    if draw(st.integers(0, 5)) == 0:
        return Sample(None, "bad", draw(st.sampled_from(REASONS)), at_ns)
    quality, reason = draw(
        st.sampled_from(
            (("good", ""), ("good", "maintenance_required"), ("uncertain", "out_of_specification"))
        )
    )
    value = draw(st.one_of(st.floats(-near, near), st.floats(), st.integers(0, 64).map(float)))
    return Sample(value, quality, reason, at_ns, (1,))


@given(
    samples(),
    SENSORS,
    st.none() | samples(near=80.0),
    st.none() | CONDITIONS,
    st.none() | samples(near=3.0),
    st.none() | CORRECTIONS,
)
@settings(max_examples=600, deadline=None)
def test_never_a_wrong_value(signal, sensor, cold_junction, condition, status, correction):
    made = measured(
        signal,
        sensor=sensor,
        cold_junction=cold_junction,
        condition=condition,
        condition_sample=status,
        correction=correction,
    )
    assert (made.value is None) is (made.quality == "bad")
    assert made.value is None or math.isfinite(made.value)
    assert made.reason or made.quality == "good"
    assert RANK[made.quality] <= RANK[signal.quality], "nothing makes a signal better"
    assert made.at_ns <= signal.at_ns
    assert made.raw == signal.raw
    if signal.quality == "bad":
        assert made is signal
    elif made.quality != "bad" and condition is not None:
        assert status is not None
        assert status.quality == "good"
        assert made.at_ns <= status.at_ns
    if made.quality != "bad" and isinstance(sensor, ThermocoupleSettings):
        assert cold_junction is not None
        assert RANK[made.quality] <= RANK[cold_junction.quality]
        assert made.at_ns <= cold_junction.at_ns


@given(KINDS, st.floats(-200, 1200), st.floats(-40, 100))
@settings(max_examples=300, deadline=None)
def test_a_thermocouple_there_and_back(kind: str, tip: float, terminals: float) -> None:
    signal_mv = TYPES[kind].emf(tip, reference=terminals)
    found = tip_c(kind, signal_mv, Sample(terminals, "good", "", 1))
    assert math.isclose(found, tip, abs_tol=1e-6)


@given(KINDS, st.floats(-9, 70), st.floats(1e-4, 5), st.floats(-40, 100), st.floats(0, 20))
@settings(max_examples=300, deadline=None)
def test_more_volts_or_warmer_terminals_are_a_warmer_tip(
    kind: str, signal_mv: float, more_mv: float, terminals: float, warmer: float
) -> None:
    def tip(signal: float, at: float) -> float:
        found = tip_c(kind, signal, Sample(at, "good", "", 1))
        ends = {"below_range": -math.inf, "above_range": math.inf}
        return ends[found] if isinstance(found, str) else found

    first, second = tip(signal_mv, terminals), tip(signal_mv + more_mv, terminals)
    assert first < second or first == second in (-math.inf, math.inf)
    assert first <= tip(signal_mv, min(100.0, terminals + warmer)) + 1e-6


@given(st.floats(-199.99, 849.99))
@settings(max_examples=300, deadline=None)
def test_platinum_there_and_back(tip: float) -> None:
    assert math.isclose(platinum_c(resistance_ohm(tip)), tip, abs_tol=1e-8)


@given(st.floats(18.53, 390.4), st.floats(1e-4, 50))
def test_more_ohms_are_warmer(ohm: float, more_ohm: float) -> None:
    first, second = platinum_c(ohm), platinum_c(ohm + more_ohm)
    assert isinstance(first, float)
    assert second in ("above_range", "open_circuit") or second > first


@given(st.floats(3.8, 20.5), st.floats(0.4, 4.6))
def test_straight_lines_there_and_back(signal_ma: float, signal_v: float) -> None:
    assert math.isclose(4.0 + loop_value(LOOP, signal_ma) / 600.0 * 16.0, signal_ma, abs_tol=1e-9)
    volts = 0.5 + linear_value(VOLTAGE, signal_v) / 1000.0 * 4.0
    assert math.isclose(volts, signal_v, abs_tol=1e-9)


@given(CORRECTIONS, st.floats(-50, 1000), st.floats(1e-3, 100))
def test_a_correction_keeps_the_order_and_the_two_points(correction, value, more) -> None:
    assert corrected(correction, value) < corrected(correction, value + more)
    assert corrected(correction, correction.zero_reads) == 0.0
    at = corrected(correction, correction.span_reads)
    assert math.isclose(at, correction.span_at, rel_tol=1e-12)
    # What it may do at most, of its bounds: 5 of zero and 5 % of span.
    assert abs(corrected(correction, value) - value) <= 5.3 + 0.054 * (abs(value) + 5)


@given(samples(), st.lists(st.sampled_from(("", "F", "C", "S", "M")), max_size=4))
def test_states_never_make_it_better_whatever_their_order(sample, states) -> None:
    forth, back = sample, sample
    for state in states:
        forth = conditioned(forth, state)
    for state in reversed(states):
        back = conditioned(back, state)
    assert RANK[forth.quality] == RANK[back.quality] <= RANK[sample.quality]
    assert (forth.value is None) is (back.value is None)
