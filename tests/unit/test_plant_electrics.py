"""Electrics: what the contactor does by permit, stop, voltage and its own faults."""

import pickle
from random import Random
from statistics import fmean

import pytest

from simulator.electrics import CHATTER_SHARES, ContactorState, Electrics


def electrics(**knobs):
    return Electrics(Random(1), **knobs)  # noqa: S311 - repeatable, no secret


def run(one, *, coil=True, estop=False, seconds=1):
    shares = []
    for _ in range(seconds):
        one.advance(1.0, coil=coil, estop=estop)
        shares.append(one.contactor_closed)
    return shares


@pytest.mark.parametrize(
    ("coil", "estop", "knobs", "closed"),
    [
        (True, False, {}, 1.0),
        (False, False, {}, 0.0),
        (True, True, {}, 0.0),
        (True, False, {"supply_switch_on": False}, 0.0),
        (True, False, {"mains_share": 0.0}, 0.0),
        (False, False, {"permit_bridged": True}, 1.0),
        (False, True, {"permit_bridged": True}, 0.0),
        (True, True, {"estop_bypassed": True}, 1.0),
        (False, False, {"estop_bypassed": True}, 0.0),
        (True, False, {"contactor": ContactorState.STUCK_OPEN}, 0.0),
        (False, True, {"contactor": ContactorState.WELDED}, 1.0),
    ],
)
def test_who_closes_the_contactor_and_who_opens_it(coil, estop, knobs, closed):
    one = electrics(**knobs)
    assert run(one, coil=coil, estop=estop) == [closed]


@pytest.mark.parametrize(
    ("knobs", "supply_share"),
    [
        ({}, 1.0),
        ({"mains_share": 0.9}, 0.9),
        ({"mains_share": 0.0}, 0.0),
        ({"supply_switch_on": False}, 0.0),
    ],
)
def test_a_welded_contactor_passes_what_mains_and_switch_give(knobs, supply_share):
    one = electrics(contactor=ContactorState.WELDED, **knobs)
    run(one, coil=False)
    assert one.supply_share == pytest.approx(supply_share)


def test_a_dip_drops_the_contactor_only_below_two_thirds_and_it_returns_only_above():
    one = electrics()
    closed = []
    for share in (1.0, 0.7, 0.66, 0.64, 0.7, 0.79, 0.81, 0.7):
        one.mains_share = share
        closed += run(one)
    # IEC 60947-4-1 (from memory): pulls in from 0.85 at the latest, drops out from 0.75 to 0.2
    assert closed == [1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0]


@pytest.mark.parametrize(("share", "ok"), [(1.0, True), (0.8, True), (0.79, False), (0.0, False)])
def test_mains_are_ok_from_four_fifths(share, ok):
    assert electrics(mains_share=share).mains_ok is ok


@pytest.mark.parametrize("coil", [True, False])
def test_a_chattering_contactor_chatters_only_when_called(coil):
    one = electrics(contactor=ContactorState.CHATTERS)
    shares = run(one, coil=coil, seconds=200)
    if not coil:
        assert set(shares) == {0.0}
        return
    assert 0.2 < min(shares) < max(shares) < 1.0
    assert len(set(shares)) > 100
    # Heat goes with the square of the effective voltage: on for half the time is half the heat.
    assert one.supply_share**2 == pytest.approx(one.contactor_closed)


def test_a_loose_wire_opens_the_stop_now_and_then_and_the_contactor_with_it():
    one = electrics(estop_wire_chatters=True)
    seen = []
    for _ in range(500):
        share = run(one)[0]
        assert (share == 1.0) is one.estop_ok
        seen.append(share)
    opened = sum(share < 1.0 for share in seen)
    assert 50 < opened < 200
    assert 0.8 < fmean(seen) < 1.0
    one.estop_wire_chatters = False
    assert run(one, seconds=50) == [1.0] * 50


@pytest.mark.parametrize(("loose", "below"), [(True, True), (False, False)])
def test_a_loose_wire_and_a_bad_contactor_take_from_one_another(loose, below):
    one = electrics(contactor=ContactorState.CHATTERS, estop_wire_chatters=loose)
    assert (min(run(one, seconds=500)) < CHATTER_SHARES[0]) is below


def test_a_bypassed_stop_still_tells_that_it_is_pressed():
    one = electrics(estop_bypassed=True)
    run(one, estop=True)
    assert (one.contactor_closed, one.estop_ok) == (1.0, False)
    run(one, estop=False)
    assert (one.contactor_closed, one.estop_ok) == (1.0, True)


def test_a_copy_goes_on_chattering_the_same():
    one = electrics(contactor=ContactorState.CHATTERS, estop_wire_chatters=True)
    run(one, seconds=7)
    copy = pickle.loads(pickle.dumps(one))  # noqa: S301 - our own bytes
    assert run(one, seconds=50) == run(copy, seconds=50)


@pytest.mark.parametrize(("mains_share", "comes_back"), [(0.85, True), (0.7, False)])
def test_a_contactor_let_go_by_a_loose_wire_must_pull_in_again(mains_share, comes_back):
    """At 0.7 of nominal a coil may hold, but once let go it is not picked up again."""
    one = electrics()
    run(one)
    one.mains_share = mains_share
    assert run(one, seconds=20) == [1.0] * 20
    one.estop_wire_chatters = True
    run(one, seconds=100)
    one.estop_wire_chatters = False
    assert run(one, seconds=5) == [float(comes_back)] * 5


def test_nothing_is_drawn_while_nothing_chatters():
    one = electrics()
    run(one, seconds=20)
    assert one.random.getstate() == Random(1).getstate()  # noqa: S311 - repeatable, no secret
