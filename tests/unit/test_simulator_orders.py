"""What faults and trips do to a crew: its knobs, orders out of turn, standing clear, mending."""

import copy
import pickle
from random import Random

import pytest

from simulator.crew import Crew, Errand, ErrandKind, Order, RepairPlan, Skip, Stage
from simulator.panel import COILS, SIDES, Controls, Shown
from simulator.planned import Scenario
from simulator.repairs import repairs
from simulator.yard import Yard
from tests.unit.crew_bench import at_work, began, crew_of, quick, reached, rig_of
from tests.unit.stand_in import StandIn, presses


@pytest.fixture
def usual():
    """The usual crew, 10 min into the hold."""
    return reached("whole_cure", Stage.HOLD, plus_s=600.0)


@pytest.mark.parametrize(
    ("knobs", "comes"),
    [
        ({}, True),
        ({"away": True}, False),
        ({"deaf": True}, False),
        ({"away_until_s": 1e9}, False),
        ({"away_until_s": 1.0}, True),
    ],
)
def test_only_a_crew_that_is_near_and_hears_comes_to_the_horn(usual, knobs, comes):
    run = copy.deepcopy(usual)
    rig, crew = rig_of(run), crew_of(run)
    presses(run, lambda: rig.controls.pressed("here_button", rig.now_s))  # a round just done
    for name, value in knobs.items():
        assert hasattr(crew, name)
        setattr(crew, name, value)
    rig.relays.coils["horn"] = True
    from_s = rig.now_s
    found = presses(run, lambda: rig.now_s > from_s + 600)
    assert bool(found) is comes


def test_a_crew_away_until_then_is_back_then(usual):
    run = copy.deepcopy(usual)
    rig, crew = rig_of(run), crew_of(run)
    crew.away_until_s = back_s = rig.now_s + 1500
    assert presses(run, lambda: rig.now_s >= back_s - 1) == []
    assert presses(run, lambda: rig.now_s >= back_s + 2)


@pytest.mark.parametrize(("slow_factor", "times"), [(1.0, 1.0), (2.0, 2.0)])
def test_a_slow_crew_takes_longer_over_handwork(slow_factor, times):
    run = at_work("whole_cure", plans=(quick(),))
    crew_of(run).slow_factor = slow_factor
    run.run_to(Stage.AIR_UP)
    took_s = began(run, Stage.AIR_UP) - began(run, Stage.MOUNT)
    assert 0.9 * times <= took_s / crew_of(run).plan.mount_s <= 1.1 * times + 0.01


BOTH_IN, BOTH_OUT = (dict.fromkeys(SIDES, is_in) for is_in in (True, False))
ORDERED = {
    Order.LET_DOWN: ("exhaust_open", False, True),
    Order.OPEN_FEED: ("feed_open", False, True),
    Order.SHUT_FEED: ("feed_open", True, False),
    Order.SHUT_EXHAUST: ("exhaust_open", True, False),
    Order.TRIM_UP: ("set_kpa", 200.0, 210.0),
    Order.TRIM_DOWN: ("set_kpa", 200.0, 190.0),
    Order.PULL_PINS: ("pins_in", True, False),
    Order.PUT_PINS_IN: ("pins_in", False, True),
    Order.RAISE_SET: ("set_c", 140.0, 160.0),
    Order.LOWER_SET: ("set_c", 140.0, 120.0),
    Order.TURN_OFF: ("set_c", 140.0, None),
    Order.UNPLUG: (
        "plugged",
        dict.fromkeys(SIDES, True),
        dict.fromkeys(SIDES, False),
    ),
    Order.PLUG: (
        "plugged",
        dict.fromkeys(SIDES, False),
        dict.fromkeys(SIDES, True),
    ),
    Order.TAKE_OFF: ("mounted", True, False),
    Order.TAPE_HERE: ("taped", set(), {"here_button"}),
    Order.UNTAPE: ("taped", {"here_button"}, set()),
    Order.PRESS_ESTOP: ("estop_pressed", False, True),
    Order.FREE_ESTOP: ("estop_pressed", True, False),
}
PRESSED = {
    Order.PRESS_START: "start_button",
    Order.PRESS_HERE: "here_button",
    Order.PRESS_RESET: "reset_button",
}


def looked(crew, controls, now_s=100.0, **lamps):
    shown = Shown(
        pads_c=dict.fromkeys(SIDES, 20),
        bags_kpa=dict.fromkeys(SIDES, 0.0),
        lamps=dict.fromkeys(COILS, False) | lamps,
    )
    crew.advance(now_s, shown, controls)


def idle(plan=None):
    crew = Crew((plan or RepairPlan(start_after_s=1e9),), Random(1))  # noqa: S311 - repeatable, no secret
    return crew, Controls()


def test_every_order_is_shown_here():
    assert ORDERED.keys() | PRESSED.keys() == set(Order)


@pytest.mark.parametrize("order", ORDERED)
@pytest.mark.parametrize("away", [False, True])
def test_an_order_is_done_at_the_next_look_and_once(order, away):
    name, before, after = ORDERED[order]
    crew, controls = idle()
    crew.away = away
    places = (
        list(controls.valves.values()) if hasattr(controls.valves["inner"], name) else [controls]
    )
    for place in places:
        setattr(place, name, before)
    looked(crew, controls)
    assert [getattr(place, name) for place in places] == [before] * len(places)
    crew.orders.append(str(order))
    looked(crew, controls)
    assert [getattr(place, name) for place in places] == [after] * len(places)
    assert crew.orders == []


@pytest.mark.parametrize(("order", "button"), PRESSED.items())
def test_an_order_to_press_presses_that_button_for_two_seconds(order, button):
    crew, controls = idle()
    crew.orders.append(order)
    looked(crew, controls)
    assert [controls.pressed(button, now_s) for now_s in (100.0, 101.0, 102.0)] == [
        True,
        True,
        False,
    ]


def test_an_order_nobody_knows_is_refused_by_name():
    crew, controls = idle()
    crew.orders.append("sing")
    with pytest.raises(ValueError, match="sing"):
        looked(crew, controls)


@pytest.mark.parametrize("after_s", [50.0, None])
def test_a_trip_is_stood_clear_of_and_mended_only_as_planned(after_s):
    crew, controls = idle(RepairPlan(start_after_s=1e9, mends_after_s=after_s))
    mended = []
    for now_s in range(100, 200):
        looked(crew, controls, float(now_s), beacon_red=True, horn=True)
        if crew.mending:
            mended.append(now_s)
        assert not controls.pressed("here_button", now_s)
    assert mended == ([150] if after_s else [])


@pytest.mark.parametrize("name", ["crew_trims", "crew_presses_wrong", "crew_hands_over"])
def test_a_crew_forked_in_mid_work_goes_on_equal_to_the_bit(name):
    run = reached(name, Stage.HEAT_UP, plus_s=400.0)
    twin = pickle.loads(pickle.dumps(run))  # noqa: S301 - our own bytes
    for one in (run, twin):
        until_s = one.yard.now_s + 1500
        one.run(lambda one=one, until_s=until_s: one.yard.now_s >= until_s)
    assert rig_of(run).truth() == rig_of(twin).truth()
    assert crew_of(run).began_at_s == crew_of(twin).began_at_s
    assert rig_of(run).controls == rig_of(twin).controls


def test_errands_that_come_too_late_never_come():
    late = Errand(ErrandKind.AWAY, Stage.MOUNT, 5000.0, 600.0)
    scenario = Scenario("test", "invented", plans=(quick(errands=(late,)),))
    run = StandIn(Yard(scenario, rigs=1, seed=1), keeps=False).run_to(Stage.HEAT_UP)
    assert crew_of(run).is_near(rig_of(run).now_s)
    assert began(run, Stage.HEAT_UP) < 5000.0


def test_what_is_forgotten_is_one_of_a_list():
    named = {
        skip for scenario in repairs() for plan in scenario.plans for skip in plan.habits.skips
    }
    assert named == set(Skip)
