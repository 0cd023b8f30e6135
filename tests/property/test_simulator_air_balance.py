"""Air: mass and energy close and nothing leaves its bounds, whatever is done to a bag."""

import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.bags import AirMode, Bag, BagSettings, BagValves
from simulator.gas import flow_mol_s, in_series
from simulator.supply import Supply, SupplySettings

R_J_MOL_K = 8.314462618  # CODATA 2018
ATMOSPHERE_KPA = 101.325  # ISO 2533

valve_settings = st.builds(
    BagValves,
    mode=st.sampled_from(AirMode),
    set_kpa=st.floats(0, 300),
    feed_open=st.booleans(),
    exhaust_open=st.booleans(),
)
built = st.builds(
    BagSettings,
    volume_l=st.floats(5, 40),
    compliance_per_kpa=st.sampled_from([0.0, 2e-4, 1e-3]),
    gas_wall_w_k=st.floats(0, 30),
    feed_dm3_s_bar=st.floats(0.01, 0.2),
    holds_without_supply=st.booleans(),
)
# Valves, surroundings °C, line °C, hole, leak of the line, hose share, mains, main valve shut, wet.
acts = st.tuples(
    valve_settings,
    st.floats(-15, 90),
    st.floats(-15, 40),
    st.one_of(st.just(0.0), st.floats(0, 0.01), st.floats(0, 20)),
    st.sampled_from([0.0, 0.5]),
    st.one_of(st.just(1.0), st.floats(0, 1)),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)


def inner_j(bag):
    """Inner energy of two-atomed gas, from what can be read off the bag."""
    return 2.5 * R_J_MOL_K * bag.amount_mol * (bag.gas_c + 273.15)


def work_j(before, bag):
    """Integral of p dV: limp at the atmosphere's pressure, else pressure linear in the volume."""
    done_j = 0.0
    for one, sign in ((before, -1), (bag, 1)):
        beyond_l = one.volume_l - bag.settings.volume_l
        done_j += sign * (ATMOSPHERE_KPA + one.pressure_kpa / 2) * beyond_l
    return done_j


@settings(max_examples=80, deadline=None)
@given(how=built, course=st.lists(acts, min_size=1, max_size=8))
def test_air_and_energy_are_kept_count_of(how, course):
    bag, supply = Bag(how, 20.0), Supply(SupplySettings())
    before = pickle.loads(pickle.dumps(bag))  # noqa: S301 - our own bytes
    air_mol = bag.amount_mol + supply.amount_mol
    for valves, around_c, line_c, hole, line_leak, hose_share, mains, shut, wet in course:
        bag.hole_dm3_s_bar, bag.feed_share = hole, hose_share
        supply.leak_dm3_s_bar, supply.shut = line_leak, shut
        for _ in range(30):
            taken_mol = bag.advance(
                1.0,
                valves,
                supply_kpa=supply.pressure_kpa,
                around_c=around_c,
                supply_c=line_c,
                wet=wet,
            )
            supply.advance(1.0, taken_mol, mains=mains)
            held_kpa = bag.amount_mol * R_J_MOL_K * (bag.gas_c + 273.15) / bag.volume_l
            assert held_kpa == pytest.approx(bag.pressure_kpa + ATMOSPHERE_KPA, rel=1e-9)
            assert bag.pressure_kpa >= 0.0
            assert 0.0 <= bag.ice_share <= 1.0
    # All air there is, wherever it went: out of the bag but not back, out of the line, made.
    outside_mol = bag.gone_mol - (bag.fed_mol - supply.taken_mol) + supply.lost_mol
    left_mol = bag.amount_mol + supply.amount_mol + outside_mol - supply.made_mol
    assert left_mol == pytest.approx(air_mol, rel=1e-9)
    assert before.amount_mol + bag.fed_mol - bag.gone_mol == pytest.approx(bag.amount_mol, rel=1e-9)
    gained_j = bag.fed_j - bag.gone_j + bag.warmed_j - work_j(before, bag)
    scale_j = bag.fed_j + bag.gone_j + abs(bag.warmed_j) + inner_j(bag)
    assert inner_j(bag) - inner_j(before) == pytest.approx(gained_j, abs=1e-9 * scale_j)
    wall_j = how.wall_j_k * (bag.wall_c - before.wall_c)
    assert wall_j == pytest.approx(bag.drawn_j - bag.warmed_j, abs=1e-9 * scale_j)


@settings(max_examples=60, deadline=None)
@given(how=built, course=st.lists(acts, min_size=1, max_size=8))
def test_neither_regulator_nor_warmth_pumps_beyond_its_reach(how, course):
    bag = Bag(how, 20.0)
    for valves, around_c, line_c, hole, *_, wet in course:
        bag.hole_dm3_s_bar = hole
        before_kpa = bag.pressure_kpa
        coldest_k = min(bag.gas_c, bag.wall_c) + 273.15
        for _ in range(30):
            bag.advance(1.0, valves, supply_kpa=700.0, around_c=around_c, supply_c=line_c, wet=wet)
            # Sealed and warmed from its coldest, or filled and warmed from the line's cold.
            held_kpa = (before_kpa + ATMOSPHERE_KPA) * (363.15 + 20) / coldest_k
            filled_kpa = (valves.set_kpa + ATMOSPHERE_KPA) * (363.15 + 20) / 258.15
            assert bag.pressure_kpa <= max(held_kpa, filled_kpa) - ATMOSPHERE_KPA
            # A charged vessel gets gamma times its line's temperature at the most; one
            # blown off from all that pressure some 100 K of cooling (isentrope).
            assert -120.0 < bag.gas_c < 1.4 * 363.15 - 273.15


@settings(max_examples=40, deadline=None)
@given(how=built, valves=valve_settings, hole=st.floats(0, 5), around_c=st.floats(-15, 90))
def test_a_copied_bag_goes_on_equal_to_the_bit(how, valves, hole, around_c):
    bag = Bag(how, 20.0)
    bag.fill_to(150.0)
    bag.hole_dm3_s_bar = hole
    bag.advance(1.0, valves, supply_kpa=700.0, around_c=around_c)
    copy = pickle.loads(pickle.dumps(bag))  # noqa: S301 - our own bytes
    for _ in range(20):
        for one in (bag, copy):
            one.advance(1.0, valves, supply_kpa=700.0, around_c=around_c, wet=True)
    assert vars(bag) == vars(copy)


@given(st.floats(0, 50), st.floats(1, 1000), st.floats(1, 1000), st.floats(1, 1000))
def test_flow_is_never_backward_and_grows_with_the_drop(conductance, up_kpa, down_kpa, lower_kpa):
    low, high = sorted((down_kpa, lower_kpa))
    at_high = flow_mol_s(conductance, up_kpa, high)
    assert 0 <= at_high <= flow_mol_s(conductance, up_kpa, low) + 1e-12


@given(st.floats(1e-3, 10), st.floats(1e-3, 10))
def test_two_in_a_row_pass_less_than_either(one, other):
    assert in_series(one, other) <= min(one, other)
