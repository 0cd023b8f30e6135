"""Scenarios and faults by name and as typed."""

import math

import pytest

from simulator.crew import Stage
from simulator.faults import catalogue
from simulator.faults.base import Fault
from simulator.scenarios import (
    Onset,
    ScenarioError,
    all_scenarios,
    find_scenario,
    read_fault,
)


def test_one_scenario_for_each_fault_and_the_named_ones():
    assert set(all_scenarios()) == {
        "whole_cure",
        "locked_off_cure",
        "hose_fails",
        "demo",
        *catalogue(),
    }
    for name in catalogue():
        (planned,) = find_scenario(name).faults
        assert (planned.name, planned.onset) == (
            name,
            Onset(type(planned.fault).into_hold_s, Stage.HOLD),
        )
        assert find_scenario(name).tail_s > type(planned.fault).deadline_s


@pytest.mark.parametrize("name", catalogue())
def test_every_fault_says_what_it_wakes_and_by_when(name):
    kind = catalogue()[name]
    assert kind.wakes
    assert all("." in tag for tag in kind.wakes)
    assert 0 < kind.deadline_s < 24 * 3600
    assert "Deadline:" in (kind.__doc__ or "")
    assert kind.__name__.lower() == name.replace("_", "")


def test_the_catalogue_covers_the_hazards_of_the_first_issue():
    woken = {tag for kind in catalogue().values() for tag in kind.wakes}
    assert woken >= {
        "pad.overtemperature",
        "pad.sensor",
        "bag.low",
        "bag.drift",
        "bag.burst",
        "release.hot",
        "release.pins_under_pressure",
        "run.unattended",
        "link.stale",
    }


@pytest.mark.parametrize(
    ("text", "settings", "onset"),
    [
        ("hose_burst", {"bag": "inner", "hole_dm3_s_bar": 1.0}, Onset(0.0)),
        ("hose_burst:bag=outer@90", {"bag": "outer", "hole_dm3_s_bar": 1.0}, Onset(90.0)),
        (
            "hose_burst:bag=outer,hole_dm3_s_bar=2.5@hold+600",
            {"bag": "outer", "hole_dm3_s_bar": 2.5},
            Onset(600.0, Stage.HOLD),
        ),
        ("pins_pulled@let_down2+0.5", {}, Onset(0.5, Stage.LET_DOWN, 2)),
    ],
)
def test_a_fault_as_typed(text, settings, onset):
    planned = read_fault(text)
    assert planned.fault.model_dump() == settings
    assert planned.onset == onset


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "choose one of"),
        ("gremlins@3", "no fault is called 'gremlins'; choose one of: contactor_welds"),
        ("hose_burst:bag", "'bag' is not key=value"),
        ("hose_burst:bag=left", "its keys: bag, hole_dm3_s_bar"),
        ("hose_burst:size=3", "size: Extra inputs are not permitted"),
        ("hose_burst:hole_dm3_s_bar=nan", "hole_dm3_s_bar"),
        ("slow_leak:kpa_per_h=-1", "greater than 0"),
        ("pins_pulled:x=1", "its keys: none"),
        ("pins_pulled@soon", "STAGE"),
        ("pins_pulled@-5", "STAGE"),
        ("pins_pulled@nan", "STAGE"),
        ("pins_pulled@lunch+5", "with one of: wait, preheat"),
    ],
)
def test_a_wrong_fault_says_what_is_right(text, said):
    with pytest.raises(ScenarioError) as caught:
        read_fault(text)
    assert said in str(caught.value)


def test_an_unknown_scenario_lists_those_there_are():
    with pytest.raises(
        ScenarioError, match=r"'nowhere'; choose one of: whole_cure, locked_off_cure"
    ):
        find_scenario("nowhere")


def test_a_stuck_scenario_has_an_end():
    assert all(
        math.isfinite(scenario.over_at_s) and scenario.over_at_s < 24 * 3600
        for scenario in all_scenarios().values()
    )


def test_a_fault_without_its_own_course_says_so():
    with pytest.raises(NotImplementedError):
        Fault().act(None, None, 0.0)
    with pytest.raises(NotImplementedError):
        Fault().mend(None, None)
