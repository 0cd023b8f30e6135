"""Scenarios and faults by name and as typed."""

import math
from collections import Counter
from itertools import combinations

import pytest

from simulator.bags import AirMode
from simulator.crew import Errand, ErrandKind, RepairPlan, Stage
from simulator.fault_text import read_fault
from simulator.faults import Disturbance, catalogue
from simulator.faults.base import Fault, Onset
from simulator.planned import TAIL_S, PlannedFault, Scenario, ScenarioError, tail_after_s
from simulator.plant import RigSettings
from simulator.repairs import repairs
from simulator.scenarios import (
    PAIRS,
    _one_fault,
    all_scenarios,
    find_scenario,
    together,
)
from simulator.yard import Yard
from tests.unit.stand_in import StandIn

PEOPLE = {
    "crew_hurries",
    "crew_forgets_preheat",
    "crew_forgets_pins",
    "crew_forgets_here",
    "crew_forgets_switch_off",
    "crew_presses_wrong",
    "crew_tapes_button",
    "crew_trims",
    "crew_leaves_plugs_in",
    "crew_at_night",
    "crew_goes_and_comes",
    "crew_hands_over",
    "neighbour_reheated",
    "second_cure_right_after",
}
OTHERS = {
    "whole_cure",
    "locked_off_cure",
    "non_relieving_cure",
    "cure_at_minus_15_c",
    "cure_at_0_c",
    "cure_at_40_c",
    "repair_of_20_mm",
    "repair_of_40_mm",
    "repair_of_60_mm",
    "repair_of_80_mm",
    "hose_fails",
    "demo",
}


def test_every_scenario_has_one_name_and_no_other_has_it():
    names = [*PEOPLE, *OTHERS, *("+".join(pair) for pair in PAIRS), *catalogue()]
    assert [name for name, times in Counter(names).items() if times > 1] == []
    assert set(all_scenarios()) == set(names)
    assert all(find_scenario(name).name == name for name in (*PEOPLE, *OTHERS))


@pytest.mark.parametrize("name", catalogue())
def test_a_fault_strikes_alone_at_its_own_onset_and_is_seen_to_its_deadline(name):
    scenario = find_scenario(name)
    (planned,) = scenario.faults
    kind = type(planned.fault)
    assert (planned.name, planned.onset) == (name, kind.onset)
    assert len(scenario.plans) >= kind.onset.repair
    deadline_s = planned.fault.deadline_s(scenario.built)
    assert scenario.tail_s == (
        TAIL_S if issubclass(kind, Disturbance) else pytest.approx(deadline_s + TAIL_S)
    )
    assert math.isfinite(scenario.tail_s)
    stage = kind.onset.stage
    assert (stage.replace("_", " ") if stage else "after") in scenario.title


def test_repairs_in_which_nothing_breaks_plan_no_fault():
    assert all(not scenario.faults for scenario in repairs())


def test_a_tail_waits_for_the_harm_and_never_for_ever():
    class Never(Disturbance):
        pass

    class Soon(Fault):
        def deadline_s(self, built):
            return 10.0 * built.ambient_c

    assert tail_after_s(Never(), RigSettings()) == TAIL_S
    assert tail_after_s(Soon(), RigSettings(ambient_c=30.0)) == TAIL_S + 300.0


def test_scenarios_differ_in_what_their_names_say():
    at_c = {
        name: find_scenario(f"cure_at_{name}_c").built.ambient_c for name in ("minus_15", "0", "40")
    }
    assert at_c == {"minus_15": -15.0, "0": 0.0, "40": 40.0}
    for thickness_mm in (20, 40, 60, 80):
        scenario = find_scenario(f"repair_of_{thickness_mm}_mm")
        assert scenario.built.slab.thickness_mm == pytest.approx(thickness_mm)
    holds_s = [find_scenario(f"repair_of_{mm}_mm").plans[0].hold_s for mm in (20, 40, 60, 80)]
    assert holds_s == sorted(set(holds_s))
    for mode in (AirMode.LOCKED_OFF, AirMode.NON_RELIEVING):
        assert find_scenario(f"{mode}_cure").plans[0].air_mode is mode
    kinds = {
        errand.kind for scenario in repairs() for plan in scenario.plans for errand in plan.errands
    }
    assert kinds == set(ErrandKind)


@pytest.mark.parametrize(
    ("name", "starts_c"), [("cure_at_minus_15_c", -15.0), ("cure_at_40_c", 40.0), ("demo", 20.0)]
)
def test_the_rig_of_a_scenario_starts_in_its_weather(name, starts_c):
    yard = Yard(find_scenario(name), rigs=1, seed=1)
    assert yard.rigs[0].pads["inner"].temperature_c == starts_c


@pytest.mark.parametrize("name", ["cure_at_minus_15_c", "cure_at_40_c"])
def test_a_repair_in_any_weather_comes_to_its_hold(name):
    run = StandIn(Yard(find_scenario(name), rigs=1, seed=1), keeps=False)
    run.run_to(Stage.HOLD, plus_s=1800.0)
    rig = run.yard.rigs[0]
    assert all(135.0 < pad.centre_c < 145.0 for pad in rig.pads.values())
    assert all(180.0 < bag.pressure_kpa < 230.0 for bag in rig.bags.values())


@pytest.mark.parametrize("names", PAIRS)
def test_a_pair_is_both_each_at_its_own_onset(names):
    scenario = find_scenario("+".join(names))
    assert [planned.name for planned in scenario.faults] == list(names)
    alone = [find_scenario(name) for name in names]
    assert scenario.faults == tuple(one.faults[0] for one in alone)
    assert scenario.tail_s == max(one.tail_s for one in alone)
    assert all(one.title in scenario.title for one in alone)


def test_any_two_faults_go_together_unless_they_touch_the_same():
    kinds = catalogue()
    refused = agreed = 0
    for first, second in list(combinations(kinds, 2))[::7]:
        if kinds[first].touches & kinds[second].touches:
            with pytest.raises(ScenarioError, match=f"{first} and {second} both touch"):
                together(first, second)
            refused += 1
        else:
            assert len(together(first, second).faults) == 2
            agreed += 1
    assert refused > 10
    assert agreed > 100


def test_three_at_once_are_refused_if_any_two_clash():
    assert len(together("slow_leak", "thermostat_stuck", "horn_dead").faults) == 3
    with pytest.raises(ScenarioError, match="both touch"):
        together("thermostat_stuck", "horn_dead", "thermostat_stuck_open")


def test_both_of_a_pair_do_strike():
    yard = Yard(find_scenario("horn_dead+mains_lost"), rigs=1, seed=1)
    StandIn(yard, keeps=False).run(lambda: len(yard.struck()) == 2)
    assert set(yard.struck()) == {"horn_dead", "mains_lost"}
    assert yard.rigs[0].relays.horn_dead
    assert not yard.rigs[0].electrics.mains_ok


@pytest.mark.parametrize(
    ("text", "settings", "onset"),
    [
        ("hose_burst", {}, Onset(0.0)),
        ("hose_burst:bag=outer@90", {"bag": "outer"}, Onset(90.0)),
        (
            "hose_burst:bag=outer,hole_dm3_s_bar=1.5@hold+600",
            {"bag": "outer", "hole_dm3_s_bar": 1.5},
            Onset(600.0, Stage.HOLD),
        ),
        ("pins_pulled@let_down2+0.5", {}, Onset(0.5, Stage.LET_DOWN, 2)),
    ],
)
def test_a_fault_as_typed(text, settings, onset):
    planned = read_fault(text)
    name = text.partition("@")[0].partition(":")[0]
    assert planned == PlannedFault(name, catalogue()[name](**settings), onset)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "choose one of"),
        ("gremlins@3", "no fault is called 'gremlins'; choose one of: bag_tears"),
        ("hose_burst:bag", "'bag' is not key=value"),
        ("hose_burst:bag=left", "its keys: bag, hole_dm3_s_bar"),
        ("hose_burst:size=3", "size: Extra inputs are not permitted"),
        ("hose_burst:hole_dm3_s_bar=nan", "hole_dm3_s_bar"),
        ("slow_leak:kpa_per_h=-1", "greater than"),
        ("horn_dead:x=1", "its keys: none"),
        ("pins_pulled@soon", "STAGE"),
        ("pins_pulled@-5", "STAGE"),
        ("pins_pulled@nan", "STAGE"),
        ("pins_pulled@inf", "STAGE"),
        ("pins_pulled@lunch+5", "with one of: wait, preheat"),
    ],
)
def test_a_wrong_fault_says_what_is_right(text, said):
    with pytest.raises(ScenarioError) as caught:
        read_fault(text)
    assert said in str(caught.value)


@pytest.mark.parametrize("name", ["nowhere", "slow_leak+nowhere", "whole_cure+slow_leak"])
def test_an_unknown_scenario_lists_those_there_are(name):
    with pytest.raises(ScenarioError) as caught:
        find_scenario(name)
    assert f"{name!r}; choose one of" in str(caught.value)
    assert "whole_cure, locked_off_cure" in str(caught.value)


def test_a_stuck_scenario_has_an_end():
    for scenario in all_scenarios().values():
        hold_s = sum(plan.hold_s_max for plan in scenario.plans)
        assert hold_s < scenario.over_at_s < 24 * 3600 * len(scenario.plans)


def test_an_errand_puts_the_end_off_by_its_length():
    errand = Errand(ErrandKind.AWAY, Stage.HOLD, 0.0, 1234.0)
    usual, called_away = (
        Scenario("test", "invented", plans=(RepairPlan(errands=errands),))
        for errands in ((), (errand,))
    )
    assert called_away.over_at_s == usual.over_at_s + 1234.0


def test_a_fault_of_a_later_repair_has_that_many_repairs_to_strike_in():
    class Later(Disturbance):
        """Invented."""

        onset = Onset(60.0, Stage.HOLD, repair=2)

    assert len(_one_fault("later", Later).plans) == 2
    assert _one_fault("later", Later).title.startswith("60 s into hold of repair 2: ")


@pytest.mark.parametrize(
    ("mends_after_s", "mends"), [((300.0, 300.0), True), ((300.0, None), False)]
)
def test_a_crew_mends_only_if_every_plan_says_so(mends_after_s, mends):
    plans = tuple(RepairPlan(mends_after_s=after_s) for after_s in mends_after_s)
    assert Scenario("test", "invented", plans=plans).crew_mends is mends


def test_a_fault_without_its_own_course_says_so():
    with pytest.raises(NotImplementedError):
        Fault().act(None, None, 0.0)
    with pytest.raises(NotImplementedError):
        Fault().mend(None, None)
    with pytest.raises(NotImplementedError):
        Fault().deadline_s(RigSettings())
