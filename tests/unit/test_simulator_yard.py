"""Whole repairs: plausible times, balances over all of it, when faults strike, the same by seed.

A stand-in for the supervisor closes and opens the permit coil; the real one
meets the plant over the wire elsewhere.
"""

import copy
from dataclasses import replace

import pytest

from simulator import registers
from simulator.crew import RepairPlan, Stage
from simulator.faults import catalogue
from simulator.faults.base import Onset
from simulator.panel import SIDES
from simulator.planned import PlannedFault, Scenario
from simulator.scenarios import find_scenario
from simulator.wire import Trouble
from simulator.yard import Yard
from tests.unit.stand_in import StandIn


def one_repair(**plan):
    return Scenario("test", "invented", plans=(RepairPlan(**plan),))


def planned(name, onset, **settings):
    return PlannedFault(name, catalogue()[name](**settings), onset)


@pytest.fixture(scope="module")
def whole_cure():
    return StandIn(Yard(find_scenario("whole_cure"), rigs=1, seed=1)).run(lambda: False)


@pytest.fixture(scope="module")
def in_hold():
    run = StandIn(Yard(one_repair(), rigs=1, seed=3)).run_to(Stage.HOLD, plus_s=2400)
    run.rows.clear()  # every test works on a copy of this
    return run


def began(run, stage, repair=1):
    return run.yard.crews[0].began_at_s[(repair, stage)]


def first(run, after_s, condition):
    return next(now_s for now_s, _, true in run.rows if now_s >= after_s and condition(true))


def test_crew_reaches_every_stage_in_order(whole_cure):
    times = [began(whole_cure, stage) for stage in Stage if stage is not Stage.WAIT]
    assert times == sorted(times)
    assert whole_cure.yard.over
    assert 5 * 3600 < whole_cure.yard.now_s < 7 * 3600


def test_times_are_those_of_a_plausible_repair(whole_cure):
    # all bands: common practice, no source
    heat_up_s = began(whole_cure, Stage.HEAT_UP)
    at_set_s = first(whole_cure, heat_up_s, lambda true: true["true_pad_inner_c"] >= 137.0)
    assert 30 * 60 <= at_set_s - heat_up_s <= 60 * 60
    cool_s = began(whole_cure, Stage.COOL)
    cooled_s = first(whole_cure, cool_s, lambda true: true["true_pad_inner_c"] < 100.0)
    assert 40 * 60 <= cooled_s - cool_s <= 90 * 60
    # passively cooled, the core is still much hotter than the pads
    core_c = next(true["true_slab_hottest_c"] for at, _, true in whole_cure.rows if at == cooled_s)
    assert 115.0 < core_c < 137.5


def test_preheat_band_pressure_and_ceiling_are_kept(whole_cure):
    stage = {}
    for _, name, true in whole_cure.rows:
        stage.setdefault(name, []).append(true)
    preheat_c = [true["true_pad_outer_c"] for true in stage[Stage.PREHEAT]]
    assert 57.0 < preheat_c[-1] < 63.0  # 50-70 C, common practice, no source
    assert max(preheat_c) < 64.0
    mount_c = [true["true_pad_inner_c"] for true in stage[Stage.MOUNT]]
    assert mount_c[0] - mount_c[-1] > 5.0
    pressed = [*stage[Stage.HEAT_UP], *stage[Stage.HOLD], *stage[Stage.COOL]]
    for side in SIDES:
        assert all(196.0 < true[f"true_bag_{side}_kpa"] < 215.0 for true in pressed)
    assert max(true["true_pad_inner_c"] for _, _, true in whole_cure.rows) < 145.0
    assert all(true["true_pins_in"] for true in pressed + stage[Stage.LET_DOWN])
    assert stage[Stage.TAKE_OFF][0]["true_bag_inner_kpa"] < 1.0


def test_pads_differ_a_little_and_their_rims_are_colder(whole_cure):
    hold = [true for _, stage, true in whole_cure.rows if stage is Stage.HOLD][3600:]
    apart_c = [true["true_pad_inner_c"] - true["true_pad_outer_c"] for true in hold]
    assert 0.1 < max(map(abs, apart_c)) < 4.0
    rims_c = [true["true_pad_inner_c"] - true["true_pad_inner_edge_c"] for true in hold]
    assert min(rims_c) > 0.5
    assert max(rims_c) < 8.0


def test_the_middle_is_behind_the_faces_and_the_rim_behind_the_centre(whole_cure):
    end = whole_cure.rows[-1][2]
    assert end["true_edge_least_cured_min"] < 0.9 * end["true_least_cured_min"]
    assert end["true_least_cured_min"] < 0.9 * end["true_most_cured_min"]
    through_min = whole_cure.yard.rigs[0].cured.centre_min
    assert through_min[0] > through_min[len(through_min) // 2] < through_min[-1]


def test_the_heat_of_the_whole_cure_balances(whole_cure):
    heat = whole_cure.yard.rigs[0].heat
    start = Yard(find_scenario("whole_cure"), rigs=1, seed=1).rigs[0].heat
    came_j = heat.heated_j + heat.sun_j + heat.slab.brought_j
    left_j = heat.lost_j + heat.bags_j
    assert came_j - left_j == pytest.approx(heat.stored_j - start.stored_j, abs=1e-6 * came_j)
    assert heat.heated_j > 5e6
    assert heat.lost_j > 5e6


def test_what_warms_the_bags_is_taken_from_the_pads(in_hold):
    rig = copy.deepcopy(in_hold).yard.rigs[0]
    settings = rig.bags["inner"].settings
    # Wall and gas stand by now at their share of the pads' warmth: heat capacity times that.
    share_c = settings.gas_share * (rig.pads["inner"].temperature_c - 20.0)
    held_j = 2 * share_c * settings.wall_j_k
    assert rig.heat.bags_j == pytest.approx(held_j, rel=0.15)
    for bag in rig.bags.values():
        bag.wall_c -= 30.0
    cold = copy.deepcopy(rig)
    cold.advance()
    assert cold.heat.bags_j == rig.heat.bags_j + sum(rig._bags_w.values())
    before_j = cold.heat.bags_j
    cold.advance()
    assert cold.heat.bags_j - before_j > 2 * 200.0


def test_a_trickle_is_no_heat_for_the_relay_in_the_lead(in_hold):
    rig = copy.deepcopy(in_hold).yard.rigs[0]
    rig.controls.set_c = 150.0
    for current, share in ((True, 1.0), (False, 0.002)):
        for pad in rig.pads.values():
            pad.heater_share = share
        rig.advance()
        assert rig.heat_on is current
        assert all(pad.heating for pad in rig.pads.values())


def test_the_air_of_the_whole_cure_balances(whole_cure):
    rig = whole_cure.yard.rigs[0]
    for bag in rig.bags.values():
        start_mol = bag.amount_mol - bag.fed_mol + bag.gone_mol
        assert start_mol == pytest.approx(0.0832, abs=1e-3)  # 10 % of 20 l, p V / (R T)
        assert bag.fed_mol > 1.5
    supply = rig.supply
    assert supply.taken_mol == pytest.approx(sum(bag.fed_mol for bag in rig.bags.values()))


def test_without_a_permit_nothing_heats_and_the_crew_waits():
    yard = Yard(one_repair(), rigs=1, seed=1)
    while yard.now_s < 3600:
        yard.advance()
    assert yard.crews[0].stage is Stage.PREHEAT
    assert yard.rigs[0].pads["inner"].temperature_c == pytest.approx(20.0, abs=0.01)


@pytest.mark.parametrize(
    "hindrance", ["permit", "plug", "estop", "mains", "switch", "cutout", "none"]
)
def test_heat_flows_only_with_all_of_it(in_hold, hindrance):
    rig = copy.deepcopy(in_hold).yard.rigs[0]
    rig.controls.set_c = 150.0
    if hindrance == "permit":
        rig.relays.coils["heat_permit"] = False
    elif hindrance == "plug":
        rig.controls.plugged = dict.fromkeys(SIDES, False)
    elif hindrance == "estop":
        rig.controls.estop_pressed = True
    elif hindrance == "mains":
        rig.electrics.mains_share = 0.0
    elif hindrance == "switch":
        rig.electrics.supply_switch_on = False
    elif hindrance == "cutout":
        for pad in rig.pads.values():
            pad.cutout_ok = False
    rig.advance()
    assert rig.heat_on is (hindrance == "none")
    assert rig.switches()["heat_on"] is rig.heat_on
    assert rig.switches()["estop_ok"] is (hindrance != "estop")
    assert rig.switches()["mains_ok"] is (hindrance != "mains")


@pytest.mark.parametrize("side", SIDES)
def test_an_unplugged_pad_takes_its_thermocouple_with_it(in_hold, side):
    rig = copy.deepcopy(in_hold).yard.rigs[0]
    other = "outer" if side == "inner" else "inner"
    rig.controls.plugged[side] = False
    rig.advance()
    assert rig.measured()[f"pad_{side}_c"] is None
    assert rig.measured()[f"pad_{other}_c"] is not None
    rig.controls.plugged[side] = True
    rig.advance()
    assert rig.measured()[f"pad_{side}_c"] is not None


def test_a_fault_strikes_at_its_onset_and_not_before():
    scenario = replace(one_repair(), faults=(planned("pins_pulled", Onset(60.0, Stage.PREHEAT)),))
    yard = Yard(scenario, rigs=1, seed=1)
    run = StandIn(yard).run_to(Stage.PREHEAT, plus_s=59)
    assert yard.struck() == {}
    run.step()
    assert yard.struck() == {"pins_pulled": began(run, Stage.PREHEAT) + 60}


def test_a_fault_of_the_second_repair_leaves_the_first_alone():
    plans = (RepairPlan(hold_s=1200.0), RepairPlan(start_after_s=1800.0))
    onset = Onset(60.0, Stage.HEAT_UP, repair=2)
    scenario = Scenario("test", "invented", plans, (planned("hose_burst", onset),))
    run = StandIn(Yard(scenario, rigs=1, seed=1)).run(lambda: False)
    assert (1, Stage.TAKE_OFF) in run.yard.crews[0].began_at_s
    burst_s = run.yard.struck()["hose_burst"]
    assert burst_s == pytest.approx(began(run, Stage.HEAT_UP, repair=2) + 60, abs=2)
    assert run.yard.now_s == pytest.approx(burst_s + scenario.tail_s, abs=2)


@pytest.mark.parametrize(("mends_after_s", "whole"), [(60.0, True), (None, False)])
def test_a_fault_is_mended_when_the_crew_mends_and_stays_so(in_hold, mends_after_s, whole):
    run = copy.deepcopy(in_hold)
    yard = run.yard = run.yard.fork([planned("hose_burst", Onset(0.0))], tail_s=1e6)
    crew, rig = yard.crews[0], yard.rigs[0]
    crew.plans = (replace(crew.plan, mends_after_s=mends_after_s),)
    run.step()
    run.trips = True
    from_s = yard.now_s
    run.run(lambda: yard.now_s > from_s + 900)
    assert (yard.struck() == {}) is whole
    assert (rig.bags["inner"].pressure_kpa > 200.0) is whole
    assert rig.relays.contact("heat_permit") is whole


@pytest.mark.parametrize(
    ("name", "stops"), [("thermostat_stuck", True), ("contactor_welds", False)]
)
def test_taking_the_permit_stops_heat_unless_the_contactor_is_welded(in_hold, name, stops):
    run = copy.deepcopy(in_hold)
    yard = run.yard = run.yard.fork([planned(name, Onset(0.0))], tail_s=1e6)
    rig = yard.rigs[0]
    rig.controls.set_c = 150.0
    from_s = rig.now_s
    run.run(lambda: rig.now_s > from_s + 60)
    run.trips = True
    run.run(lambda: rig.now_s > from_s + 120)
    assert rig.relays.coils["heat_permit"] is False
    assert rig.heat_on is not stops


def test_a_disturbance_never_ends_the_story():
    gusts = planned("here_pressed_twice", Onset(5.0))
    yard = Yard(replace(one_repair(), faults=(gusts,), tail_s=20.0), rigs=1, seed=1)
    while yard.now_s < 400:
        yard.advance()
    assert not yard.over


@pytest.mark.parametrize(("seeds", "same"), [((5, 5), True), ((5, 6), False)])
def test_same_seed_same_course_to_the_bit(seeds, same):
    def course(seed):
        yard = Yard(find_scenario("whole_cure"), rigs=2, seed=seed)
        StandIn(yard).run(lambda: yard.now_s >= 1500)
        return [
            (rig.truth(), registers.temperature_words(rig), registers.pressure_words(rig))
            for rig in yard.rigs
        ]

    assert (course(seeds[0]) == course(seeds[1])) is same


def test_rigs_of_one_yard_differ_in_noise():
    yard = Yard(find_scenario("whole_cure"), rigs=2, seed=1)
    for _ in range(50):
        yard.advance()
    assert registers.pressure_words(yard.rigs[0]) != registers.pressure_words(yard.rigs[1])


def test_faults_strike_the_first_rig_only():
    scenario = replace(one_repair(), faults=(planned("module_silent", Onset(5.0)),))
    yard = Yard(scenario, rigs=2, seed=1)
    while yard.now_s < 10:
        yard.advance()
    troubled = [rig.wire.of("temperatures") for rig in yard.rigs]
    assert troubled == [Trouble.SILENT, Trouble.NONE]


def test_a_yard_that_is_over_stands_still():
    scenario = replace(one_repair(), faults=(planned("pins_pulled", Onset(5.0)),), tail_s=20.0)
    yard = Yard(scenario, rigs=1, seed=1)
    for _ in range(100):
        yard.advance()
    assert yard.over
    assert yard.now_s == 25.0


def test_the_hour_is_the_scenarios_and_a_set_clock_shows():
    morning = Yard(one_repair(), rigs=1, seed=1)
    night = Yard(replace(one_repair(), start_hour=22.5), rigs=1, seed=1)
    assert (night.wall_ns - morning.wall_ns) / 3.6e12 == 22.5 - morning.scenario.start_hour
    before_ns = morning.wall_ns
    morning.rigs[0].host.clock_step_s = -2.5
    assert (morning.wall_ns - before_ns) / 1e9 == -2.5
