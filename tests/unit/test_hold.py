"""The hold clock: the coldest pad at 120 C or more under pressure, paused below 115.

120 C: common practice, no source; the rest are the design's defaults.
"""

import pytest
from pydantic import ValidationError

from rules.hold import Hold, HoldLimits, tick
from rules.phases import Phase
from rules.signals import Now

LIMITS = HoldLimits()
RUNNING = Hold(100.0, running=True)
PAUSED = Hold(100.0)


def now(cold_c: float | None = 121.0, low_kpa: float | None = 207.0) -> Now:
    return Now(140.0, cold_c, low_kpa, 207.0)


def ticked(
    hold: Hold, at: Now, phase: Phase = Phase.CURE, dt_s: float = 10.0
) -> tuple[float, bool]:
    after = tick(LIMITS, hold, phase, at, dt_s)
    return after.held_s, after.running


@pytest.mark.parametrize("phase", Phase)
def test_it_counts_in_heat_up_and_hold_only(phase):
    counts = phase in (Phase.HEAT_UP, Phase.CURE)
    assert ticked(RUNNING, now(), phase) == ((110.0, True) if counts else (100.0, False))


@pytest.mark.parametrize(
    ("hold", "cold_c", "expected"),
    [
        (PAUSED, 119.9, (100.0, False)),
        (PAUSED, 120.0, (100.0, True)),  # the time before it was hot does not count
        (RUNNING, 115.0, (110.0, True)),
        (RUNNING, 114.9, (100.0, False)),
        (PAUSED, 116.0, (100.0, False)),
        (RUNNING, None, (100.0, False)),  # what cannot be read does not count
    ],
)
def test_it_starts_hot_and_pauses_cooler(hold, cold_c, expected):
    assert ticked(hold, now(cold_c)) == expected


@pytest.mark.parametrize(
    ("low_kpa", "expected"),
    [(150.0, (110.0, True)), (149.9, (100.0, False)), (None, (100.0, False))],
)
def test_it_counts_under_pressure_only(low_kpa, expected):
    assert ticked(RUNNING, now(low_kpa=low_kpa)) == expected


def test_unseen_time_never_counts():
    assert ticked(RUNNING, now(), dt_s=0.0) == (100.0, True)


def test_a_clock_that_stands_is_the_same_object():
    assert tick(LIMITS, PAUSED, Phase.IDLE, now(20.0), 1.0) is PAUSED


def test_the_planned_end_is_remembered():
    assert tick(LIMITS, Hold(9.0, running=True, over=True), Phase.CURE, now(), 1.0).over


def test_pausing_above_the_start_is_refused():
    with pytest.raises(ValidationError, match="pauses_c = 125 is above starts_c = 120; lower"):
        HoldLimits(pauses_c=125.0)
    assert HoldLimits(pauses_c=120.0).pauses_c == 120.0
