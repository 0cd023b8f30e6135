"""Whatever comes in, every hazard answers, remembers to the bit and never forgets a trip."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules.channels import CHANNELS
from rules.events import Level
from rules.facts import AirMode, RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading, Reason
from rules.hazards import HAZARDS, Hazard
from rules.hazards.base import Finding
from rules.phases import Phase
from rules.view import View, view_of

every_hazard = pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.name)
quick = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))

# What a drift of the plant, an electrical fault or a foreign module may show.
values = st.one_of(
    st.sampled_from([0.0, 1.0, -1.0, 20.0, 100.0, 140.0, 156.0, 180.0, 207.0]),
    st.floats(-500, 500),
    st.floats(allow_nan=True, allow_infinity=True),
    st.none(),
)
readings = st.builds(
    Reading,
    values,
    st.sampled_from(Quality),
    st.sampled_from(Reason),
    st.integers(-10 * NS_PER_S, 10_000 * NS_PER_S),
)
channels = st.dictionaries(st.sampled_from([channel.name for channel in CHANNELS]), readings)
steps = st.fixed_dictionaries(
    {
        "values": channels,
        "readback": st.dictionaries(
            st.just("heat_permit"), st.sampled_from([True, False, None]), max_size=1
        ),
        "dt_s": st.sampled_from([0.0, 0.1, 1.0, 15.0, 60.0, 700.0, 4000.0]),
        "gap_s": st.sampled_from([0.0, 0.0, 0.0, 5.0, 4000.0]),
        "phase": st.sampled_from(Phase),
        "history_known": st.booleans(),
        "run_open": st.booleans(),
        "permit_granted": st.booleans(),
        "watch_only": st.booleans(),
        "pressurised": st.booleans(),
        "someone_here": st.booleans(),
        "unplugged": st.sampled_from([frozenset(), frozenset({"pad_inner_c"})]),
    }
)
facts = st.builds(
    RigFacts,
    air_mode=st.sampled_from(AirMode),
    site_altitude_m=st.sampled_from([-430.0, 0.0, 3000.0, 5000.0]),
    frame_period_s=st.sampled_from([0.1, 1.0, 60.0]),
)


def _views(rig: RigFacts, story: list[dict[str, Any]]) -> Iterator[View]:
    now_ns = 0
    for seq, step in enumerate(story):
        body = dict(step)
        frame = Frame(seq, now_ns, 0, True, "any", body.pop("values"), body.pop("readback"))
        now_ns += round(body["dt_s"] * NS_PER_S)
        yield view_of(frame, rig, now_ns, **body)


@every_hazard
@quick
@given(rig=facts, story=st.lists(steps, min_size=1, max_size=6))
def test_answers_to_anything_and_remembers_to_the_bit(
    hazard: Hazard, rig: RigFacts, story: list[dict[str, Any]]
) -> None:
    limits, memory = hazard.limits_type(), hazard.memory_type()
    adapter = TypeAdapter(hazard.memory_type)
    for view in _views(rig, story):
        memory, finding = hazard.judge(limits, memory, view)
        assert isinstance(finding, Finding)
        assert bool(finding.said) is (finding.level is not Level.CLEAR)
        text = adapter.dump_json(memory)
        again = adapter.validate_json(text)
        assert again == memory
        assert repr(again) == repr(memory)
        memory = again


def _first_trip(temperatures_c: list[float], *, warmer_c: float) -> int | None:
    hazard = next(item for item in HAZARDS if item.name == "pad_overtemperature")
    limits, memory = hazard.limits_type(), hazard.memory_type()
    for second, temperature_c in enumerate(temperatures_c):
        at_ns = second * NS_PER_S
        reading = Reading(temperature_c + warmer_c, Quality.GOOD, Reason.NONE, at_ns)
        frame = Frame(second, at_ns, 0, True, "any", {"pad_inner_c": reading})
        view = view_of(frame, RigFacts(), at_ns, 1.0 if second else 0.0, phase=Phase.CURE)
        memory, finding = hazard.judge(limits, memory, view)
        if finding.level is Level.TRIP:
            return second
    return None


# Quarter degrees: adding and subtracting them is exact, so slopes stay equal.
@pytest.mark.proves("pad.overtemperature")
@settings(max_examples=200, deadline=None)
@given(
    quarters=st.lists(st.integers(4 * 130, 4 * 170), min_size=1, max_size=12),
    warmer=st.integers(0, 4 * 50),
)
def test_a_hotter_pad_never_trips_later(quarters: list[int], warmer: int) -> None:
    trace = [quarter / 4 for quarter in quarters]
    first = _first_trip(trace, warmer_c=0.0)
    hotter = _first_trip(trace, warmer_c=warmer / 4)
    if first is not None:
        assert hotter is not None
        assert hotter <= first


@pytest.mark.proves("pad.overtemperature")
@settings(max_examples=100, deadline=None)
@given(
    before=st.lists(st.floats(20, 147), max_size=5),
    hot_c=st.floats(155.0, 400.0, exclude_min=True),
)
def test_two_hot_samples_always_trip(before: list[float], hot_c: float) -> None:
    assert _first_trip([*before, hot_c, hot_c], warmer_c=0.0) is not None
