"""People at the rig: each behaviour in the scenario of its name, against a stand-in supervisor.

Every "does" is shown beside the crew of `whole_cure`, which does not.
"""

import copy
from dataclasses import replace
from itertools import pairwise

import pytest

from simulator.bags import AirMode
from simulator.crew import Errand, ErrandKind, Habits, RepairPlan, Stage
from simulator.crew.trim import Trimmer
from simulator.panel import SIDES, Controls, Shown
from simulator.scenarios import find_scenario
from simulator.yard import Yard
from tests.unit.crew_bench import at_work, began, crew_of, quick, reached, rig_of
from tests.unit.stand_in import StandIn, presses


@pytest.fixture
def usual():
    """The usual crew, 10 min into the hold."""
    return reached("whole_cure", Stage.HOLD, plus_s=600.0)


@pytest.fixture
def usual_whole():
    return reached("whole_cure", Stage.HOME)


# All times from here on: common practice, no source.


def test_the_usual_crew_takes_human_times(usual_whole):
    took_s = {
        stage: began(usual_whole, after) - began(usual_whole, stage)
        for stage, after in pairwise(stage for stage in Stage)
    }
    assert 720 < took_s[Stage.MOUNT] < 960  # carry, mount and pin: about a quarter of an hour
    assert 320 < took_s[Stage.AIR_UP] < 460  # to fill and then to watch for leaks
    assert 150 < took_s[Stage.FEEL_SOFT] < 210
    assert 250 < took_s[Stage.TAKE_OFF] < 350


def test_no_two_people_take_the_same_time():
    def mounting_s(seed):
        yard = Yard(find_scenario("whole_cure"), rigs=1, seed=seed)
        run = StandIn(yard, keeps=False).run_to(Stage.AIR_UP)
        return began(run, Stage.AIR_UP) - began(run, Stage.MOUNT)

    times_s = [mounting_s(seed) for seed in (1, 2, 3)]
    assert len(set(times_s)) == 3
    assert max(times_s) / min(times_s) < 1.1 / 0.9 + 0.01


def test_who_hurries_is_quick_and_opens_hot(usual_whole):
    run = reached("crew_hurries", Stage.HOME)
    for stage, after in ((Stage.PREHEAT, Stage.MOUNT), (Stage.MOUNT, Stage.AIR_UP)):
        usual_s = began(usual_whole, after) - began(usual_whole, stage)
        assert 0.4 < (began(run, after) - began(run, stage)) / usual_s < 0.65
    assert (1, Stage.FEEL_SOFT) not in crew_of(run).began_at_s
    cooling_s = began(run, Stage.LET_DOWN) - began(run, Stage.COOL)
    usual_s = began(usual_whole, Stage.LET_DOWN) - began(usual_whole, Stage.COOL)
    assert cooling_s < 0.7 * usual_s


@pytest.mark.parametrize(
    ("name", "watches_s"), [("whole_cure", (150.0, 220.0)), ("crew_hurries", (0.0, 20.0))]
)
def test_leaks_are_watched_for_once_the_air_is_up(name, watches_s):
    run = reached(name, Stage.AIR_UP)
    bags = rig_of(run).bags.values()
    run.run(lambda: min(bag.pressure_kpa for bag in bags) >= 200.0)
    up_s = run.yard.now_s
    run.run_to(Stage.HEAT_UP)
    assert watches_s[0] <= began(run, Stage.HEAT_UP) - up_s < watches_s[1]


def test_the_watching_begins_anew_when_the_air_sinks():
    run = reached("whole_cure", Stage.AIR_UP)
    bag = rig_of(run).bags["inner"]
    run.run(lambda: bag.pressure_kpa >= 202.0)
    run.run_to(Stage.AIR_UP, plus_s=run.yard.now_s - began(run, Stage.AIR_UP) + 100.0)
    valves = rig_of(run).controls.valves["inner"]
    valves.exhaust_open, valves.feed_open = True, False
    run.run(lambda: bag.pressure_kpa < 190.0)
    valves.exhaust_open, valves.feed_open = False, True
    sunk_s = run.yard.now_s
    run.run_to(Stage.HEAT_UP)
    assert began(run, Stage.HEAT_UP) - sunk_s > 160.0


@pytest.mark.parametrize(
    ("name", "opens_c"), [("whole_cure", (65.0, 75.0)), ("crew_hurries", (90.0, 100.0))]
)
def test_the_bags_go_down_when_the_displays_are_below_what_this_crew_waits_for(name, opens_c):
    run = reached(name, Stage.LET_DOWN)
    rig = rig_of(run)
    assert opens_c[0] < max(rig.shown().pads_c.values()) < opens_c[1]
    assert rig.controls.release_request
    assert rig.bags["inner"].pressure_kpa > 150.0
    assert all(valves.exhaust_open for valves in rig.controls.valves.values())


@pytest.mark.parametrize(("name", "cold"), [("crew_forgets_preheat", True), ("whole_cure", False)])
def test_who_forgets_the_preheat_mounts_cold_pads(name, cold):
    run = reached(name, Stage.AIR_UP)
    assert ((1, Stage.PREHEAT) not in crew_of(run).began_at_s) is cold
    assert (max(rig_of(run).shown().pads_c.values()) < 25) is cold
    run.run_to(Stage.HEAT_UP, plus_s=120.0)
    assert rig_of(run).heat_on  # start is pressed once the lamp has been dark for a minute


@pytest.mark.parametrize(("name", "pinned"), [("crew_forgets_pins", False), ("whole_cure", True)])
def test_who_forgets_the_pins_airs_up_without_them(name, pinned):
    run = reached(name, Stage.HEAT_UP)
    assert rig_of(run).bags["inner"].pressure_kpa > 190.0
    assert rig_of(run).switches()["pins_in"] is pinned


@pytest.mark.parametrize(("name", "rounds"), [("crew_forgets_here", False), ("whole_cure", True)])
def test_who_forgets_the_here_button_still_comes_to_the_horn(name, rounds):
    run = reached(name, Stage.HOLD)
    until_s = run.yard.now_s + 2600
    found = presses(run, lambda: run.yard.now_s >= until_s)
    assert ("here_button" in {button for _, button in found}) is rounds
    rig_of(run).relays.coils["horn"] = True
    from_s = run.yard.now_s
    (came_s, button) = presses(run, lambda: run.yard.now_s >= from_s + 60)[0]
    assert button == "here_button"
    assert came_s - from_s == pytest.approx(40.0, abs=2.0)


def test_the_usual_crew_is_never_away_from_the_button_for_long(usual):
    run = copy.deepcopy(usual)
    until_s = run.yard.now_s + 4000
    at_s = [now_s for now_s, _ in presses(run, lambda: run.yard.now_s >= until_s)]
    assert len(at_s) >= 3
    assert all(later - sooner <= 1201 for sooner, later in pairwise(at_s))


@pytest.mark.parametrize(
    ("name", "left_on"), [("crew_forgets_switch_off", True), ("whole_cure", False)]
)
def test_who_forgets_to_switch_off_leaves_the_knob_until_home(name, left_on):
    run = reached(name, Stage.COOL, plus_s=60.0)
    assert (rig_of(run).controls.set_c is not None) is left_on
    run = reached(name, Stage.HOME)
    assert (rig_of(run).controls.set_c is not None) is left_on
    assert all(rig_of(run).controls.plugged.values()) is left_on
    # What was left on heats again as soon as anything lets it.
    rig_of(run).relays.coils["heat_permit"] = True
    rig_of(run).advance()
    assert rig_of(run).heat_on is left_on


def test_who_presses_the_wrong_button_sees_it_and_presses_the_right_one():
    run = at_work("crew_presses_wrong")
    found = presses(run, lambda: run.yard.now_s >= 9000)
    assert "reset_button" in {button for _, button in found}  # nothing was there to reset
    after_s = [later[0] - sooner[0] for sooner, later in pairwise(found)]
    assert any(gap_s == pytest.approx(10.0, abs=1.0) for gap_s in after_s)
    assert (1, Stage.HOLD) in crew_of(run).began_at_s  # and the work goes on


def test_the_usual_crew_presses_nothing_it_does_not_mean():
    run = at_work("whole_cure")
    found = presses(run, lambda: run.yard.now_s >= 9000)
    assert "reset_button" not in {button for _, button in found}
    assert [button for _, button in found].count("start_button") == 2  # preheat and heat-up


@pytest.mark.parametrize(("name", "taped"), [("crew_tapes_button", True), ("whole_cure", False)])
def test_a_taped_button_is_down_from_the_heat_up_to_the_take_off(name, taped):
    assert not rig_of(reached(name, Stage.AIR_UP)).switches()["here_button"]
    run, down = reached(name, Stage.HEAT_UP, plus_s=1.0), []
    run.run(lambda: down.append(rig_of(run).switches()["here_button"]) or len(down) > 1500)
    assert all(down) is taped
    run = reached(name, Stage.LET_DOWN)
    assert rig_of(run).switches()["here_button"] is taped
    run.run_to(Stage.TAKE_OFF, plus_s=1.0)
    assert not rig_of(run).switches()["here_button"]


def test_who_goes_and_comes_presses_nothing_in_between_then_answers():
    run = reached("crew_goes_and_comes", Stage.HOLD, plus_s=605.0)
    crew, rig = crew_of(run), rig_of(run)
    left_s = began(run, Stage.HOLD) + 600
    rig.relays.coils["horn"] = True
    assert not crew.is_near(rig.now_s)
    found = presses(run, lambda: rig.now_s >= left_s + 2399)
    assert found == []
    found = presses(run, lambda: rig.now_s >= left_s + 2500)
    assert crew.is_near(rig.now_s)
    assert [button for _, button in found][:1] == ["here_button"]


@pytest.mark.parametrize("name", ["crew_trims", "locked_off_cure"])
def test_only_who_trims_keeps_locked_off_bags_in_their_band(name):
    trims = name == "crew_trims"
    run = reached(name, Stage.HOLD)
    bags = rig_of(run).bags.values()
    highest_kpa = max(bag.pressure_kpa for bag in bags)
    assert (highest_kpa < 220.0) is trims
    assert crew_of(run).plan.air_mode is AirMode.LOCKED_OFF
    # What was let out while it warmed is missing when it cools, and is let in again.
    run.run_to(Stage.LET_DOWN)
    assert all(bag.pressure_kpa > 190.0 for bag in bags)


def test_a_trim_is_no_burst_and_leaves_no_valve_open():
    run = reached("crew_trims", Stage.HEAT_UP, plus_s=1.0)
    rig, opened, kpa = rig_of(run), [], []
    run.run(
        lambda: (
            kpa.append(rig.bags["inner"].pressure_kpa)
            or opened.append(rig.controls.valves["inner"].exhaust_open)
            or crew_of(run).stage is Stage.COOL
        )
    )
    assert 5 < sum(opened) < 600
    assert not opened[-1]
    assert max(a - b for a, b in zip(kpa, kpa[5:], strict=False)) < 30.0  # in 5 s


def dials(inner_kpa):
    return Shown({}, {"inner": inner_kpa, "outer": 206.0}, {})


@pytest.mark.parametrize("mode", AirMode)
@pytest.mark.parametrize("off_kpa", [-10.0, 10.0, -6.0, 6.0])
def test_a_trim_takes_the_knob_where_it_helps_and_else_a_valve(mode, off_kpa):
    trimmer, controls, plan = Trimmer(), Controls(), RepairPlan(set_kpa=206.0)
    inner = controls.valves["inner"]
    fed = mode is not AirMode.LOCKED_OFF
    for valves in controls.valves.values():
        valves.mode, valves.set_kpa, valves.feed_open = mode, 206.0, fed
    trimmer.advance(0.0, plan, dials(206.0 + off_kpa), controls)
    bothers = abs(off_kpa) > 7
    lets_out = bothers and off_kpa > 0 and mode is not AirMode.RELIEVING
    lets_in = bothers and off_kpa < 0 and not fed
    turns = bothers and not lets_out and not lets_in
    assert inner.exhaust_open is lets_out
    assert inner.feed_open is (fed or lets_in)
    assert inner.set_kpa == (206.0 - off_kpa if turns else 206.0)
    trimmer.advance(1.0, plan, dials(206.0), controls)  # right again
    assert (inner.exhaust_open, inner.feed_open) == (False, fed)
    outer = controls.valves["outer"]
    assert (outer.exhaust_open, outer.feed_open, outer.set_kpa) == (False, fed, 206.0)


def test_nobody_holds_a_valve_for_ever():
    trimmer, controls, plan = Trimmer(), Controls(), RepairPlan(set_kpa=206.0)
    inner = controls.valves["inner"]
    inner.mode = AirMode.LOCKED_OFF
    feeding = []
    for now_s in range(301):
        low = dials(180.0 if now_s < 300 else 200.0)  # nothing comes in
        trimmer.advance(float(now_s), plan, low, controls)
        feeding.append(inner.feed_open)
    assert all(feeding[:300])
    assert not feeding[300]


def test_a_held_valve_is_let_go_when_the_red_beacon_lights():
    run = reached("crew_trims", Stage.HEAT_UP)
    rig = rig_of(run)
    run.run(lambda: rig.controls.valves["inner"].exhaust_open)
    run.trips = True
    run.run(lambda: rig.relays.coils["beacon_red"])
    run.step()
    assert not rig.controls.valves["inner"].exhaust_open


def test_a_relieving_knob_is_turned_by_what_the_dial_is_off(usual):
    run = copy.deepcopy(usual)
    rig, crew = rig_of(run), crew_of(run)
    crew.habits = Habits(trims=True)
    rig.controls.valves["outer"].set_kpa -= 20.0
    from_s = run.yard.now_s
    run.run(lambda: run.yard.now_s > from_s + 1500)
    assert rig.bags["outer"].pressure_kpa == pytest.approx(crew.plan.set_kpa, abs=8.0)


@pytest.mark.parametrize(("name", "pulls"), [("whole_cure", True), ("crew_leaves_plugs_in", False)])
def test_the_pads_are_unplugged_to_be_carried(name, pulls):
    run = at_work(name).run_to(Stage.MOUNT, plus_s=60.0)
    rig = rig_of(run)
    assert rig.controls.plugged == dict.fromkeys(SIDES, not pulls)
    assert not rig.controls.mounted
    rig.relays.coils["heat_permit"] = True
    rig.controls.set_c = 140.0  # even so
    rig.advance()
    assert rig.heat_on is not pulls
    run = reached(name, Stage.HEAT_UP, plus_s=120.0)
    assert all(rig_of(run).controls.plugged.values())
    assert rig_of(run).heat_on


def test_a_neighbour_is_reheated_with_hot_pads_off_this_tyre_and_empty_bags():
    reheat = Errand(ErrandKind.NEIGHBOUR, Stage.WAIT, 60.0, 2400.0)
    plans = (quick(), quick(start_after_s=100.0, errands=(reheat,)))
    run = at_work("neighbour_reheated", plans=plans)
    crew, rig = crew_of(run), rig_of(run)
    run.run_to(Stage.WAIT, repair=2, plus_s=60.0 + 1800.0)
    assert min(pad.temperature_c for pad in rig.pads.values()) > 100.0
    assert max(bag.pressure_kpa for bag in rig.bags.values()) < 2.0
    assert not rig.controls.mounted
    assert all(rig.controls.plugged.values())
    assert crew.is_near(rig.now_s)
    run.run_to(Stage.PREHEAT, repair=2)
    # The procedure waits for the errand, then goes on with the preheat's own setting.
    waited_s = began(run, Stage.PREHEAT, 2) - began(run, Stage.WAIT, 2)
    assert waited_s == pytest.approx(60.0 + 2400.0, abs=2.0)
    assert rig.controls.set_c == crew.plan.preheat_c


def test_the_knob_is_turned_off_when_the_reheating_is_done():
    reheat = Errand(ErrandKind.NEIGHBOUR, Stage.WAIT, 60.0, 300.0)
    plan = quick(start_after_s=1000.0, errands=(reheat,))
    run = at_work("neighbour_reheated", plans=(plan,)).run_to(Stage.WAIT, plus_s=300.0)
    assert rig_of(run).controls.set_c == plan.set_c
    run.run_to(Stage.WAIT, plus_s=370.0)
    assert rig_of(run).controls.set_c is None


def test_a_trip_ends_the_reheating_and_the_next_cure_begins_all_the_same():
    reheat = Errand(ErrandKind.NEIGHBOUR, Stage.WAIT, 60.0, 2400.0)
    plan = quick(start_after_s=3000.0, errands=(reheat,), mends_after_s=300.0)
    run = at_work("neighbour_reheated", plans=(plan,)).run_to(Stage.WAIT, plus_s=900.0)
    rig = rig_of(run)
    assert rig.heat_on
    run.trips = True
    run.run(lambda: rig.relays.coils["beacon_red"])
    run.run_to(Stage.WAIT, plus_s=910.0)
    assert rig.controls.set_c is None
    run.run_to(Stage.PREHEAT)
    assert not rig.relays.coils["beacon_red"]


def test_the_scenario_of_the_neighbour_is_just_that():
    _, second = find_scenario("neighbour_reheated").plans
    (errand,) = second.errands
    assert (errand.kind, errand.stage) == (ErrandKind.NEIGHBOUR, Stage.WAIT)
    assert errand.after_s + errand.for_s < second.start_after_s
    assert find_scenario("neighbour_reheated").crew_mends  # a supervisor will trip


def test_a_second_cure_right_after_begins_with_warm_pads_on_a_cold_tyre():
    scenario = find_scenario("second_cure_right_after")
    first = replace(scenario.plans[0], hold_s=1200.0)
    run = at_work("second_cure_right_after", plans=(first, scenario.plans[1]))
    run.run_to(Stage.PREHEAT, repair=2)
    rig = rig_of(run)
    assert began(run, Stage.PREHEAT, 2) - began(run, Stage.WAIT, 2) == pytest.approx(60.0, abs=2)
    assert min(rig.shown().pads_c.values()) > 45.0
    assert rig.slab.middle_c < 25.0
    run.run_to(Stage.MOUNT, repair=2)
    assert began(run, Stage.MOUNT, 2) - began(run, Stage.PREHEAT, 2) < 600.0


@pytest.mark.parametrize(
    ("name", "comes_s", "round_s"), [("crew_at_night", 160.0, 1800.0), ("whole_cure", 40.0, 1200.0)]
)
def test_at_night_the_rounds_are_long_and_the_way_is_slow(name, comes_s, round_s):
    run = reached(name, Stage.HOLD)
    presses(run, lambda: rig_of(run).controls.pressed("here_button", rig_of(run).now_s))
    from_s = run.yard.now_s
    (rounded_s, _) = presses(run, lambda: run.yard.now_s > from_s + round_s + 10)[0]
    assert rounded_s - from_s == pytest.approx(round_s, abs=3.0)
    rig_of(run).relays.coils["horn"] = True
    from_s = run.yard.now_s
    (came_s, _) = presses(run, lambda: run.yard.now_s > from_s + comes_s + 10)[0]
    assert came_s - from_s == pytest.approx(comes_s, abs=3.0)


def test_night_is_dark_and_cold():
    night, day = find_scenario("crew_at_night"), find_scenario("whole_cure")
    assert night.start_hour > 20
    assert day.start_hour < 10
    assert night.built.ambient_c < day.built.ambient_c


def test_each_repair_begins_with_the_habits_of_its_own_plan():
    plans = (quick(habits=Habits(pace=0.5)), quick(habits=Habits(pace=0.9)))
    run = at_work("whole_cure", plans=plans)
    crew_of(run).habits = replace(crew_of(run).habits, pace=0.4)  # as a fault may
    run.run_to(Stage.LET_DOWN)
    assert crew_of(run).habits.pace == 0.4
    run.run_to(Stage.WAIT, repair=2)
    assert crew_of(run).habits == plans[1].habits


def test_at_a_handover_nobody_is_there_then_somebody_else():
    run = reached("crew_hands_over", Stage.HOLD, plus_s=3590.0)
    crew, rig = crew_of(run), rig_of(run)
    before = crew.habits
    assert crew.is_near(rig.now_s)
    run.run_to(Stage.HOLD, plus_s=3605.0)
    assert not crew.is_near(rig.now_s)
    rig.relays.coils["horn"] = True
    assert presses(run, lambda: rig.now_s >= began(run, Stage.HOLD) + 3600 + 715) == []
    run.run_to(Stage.HOLD, plus_s=3600.0 + 725.0)
    assert crew.is_near(rig.now_s)
    assert crew.habits != before
    assert crew.habits == crew.plan.errands[0].habits
