"""Heat and air balances hold whatever is done to the plant."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.bags import AirMode, Bag, BagSettings, BagValves, flow_mol_s
from simulator.pads import Pad, PadSettings
from simulator.slab import Face, Slab, SlabSettings

faces = st.builds(
    Face,
    source_c=st.floats(-15, 200),
    conductance_w_m2k=st.one_of(st.just(float("inf")), st.floats(0, 1000)),
)


@settings(max_examples=40, deadline=None)
@given(
    thickness_mm=st.floats(10, 80),
    course=st.lists(st.tuples(st.floats(0.25, 120), faces, faces), min_size=1, max_size=8),
)
def test_slab_keeps_its_heat_and_its_bounds(thickness_mm, course):
    slab = Slab(SlabSettings(thickness_mm=thickness_mm), 20.0)
    before_j_m2 = slab.stored_j_m2
    sources = [20.0]
    for dt_s, inner, outer in course:
        slab.advance(dt_s, inner, outer)
        sources += [inner.source_c, outer.source_c]
        # heat cannot make anything hotter or colder than all it ever touched
        assert min(sources) - 1e-6 <= min(slab.cells_c) <= max(slab.cells_c) <= max(sources) + 1e-6
    assert slab.stored_j_m2 - before_j_m2 == pytest.approx(slab.gained_j_m2, rel=1e-9, abs=1e-3)


valve_settings = st.builds(
    BagValves,
    mode=st.sampled_from(AirMode),
    set_kpa=st.floats(0, 300),
    feed_open=st.booleans(),
    exhaust_open=st.booleans(),
)


@settings(max_examples=60, deadline=None)
@given(
    course=st.lists(
        st.tuples(valve_settings, st.floats(-15, 90), st.floats(0, 800), st.floats(0, 5)),
        min_size=1,
        max_size=10,
    )
)
def test_bag_keeps_count_of_its_air_and_never_goes_below_zero(course):
    bag = Bag(BagSettings(), 20.0)
    start_mol = bag.amount_mol
    for valves, around_c, supply_kpa, hole_dm3_s_bar in course:
        bag.hole_dm3_s_bar = hole_dm3_s_bar
        before_kpa = bag.pressure_kpa
        for _ in range(40):
            bag.advance(0.25, valves, supply_kpa=supply_kpa, around_c=around_c)
            assert bag.pressure_kpa >= 0
        # neither the regulator nor warming gas can pump beyond all of these together
        warmed_kpa = (before_kpa + 101.325) * 1.5
        assert bag.pressure_kpa <= max(warmed_kpa, valves.set_kpa + 1e-6)
    total_mol = start_mol + bag.fed_mol - bag.gone_mol
    assert total_mol == pytest.approx(bag.amount_mol, rel=1e-9)


@given(st.floats(0, 50), st.floats(1, 1000), st.floats(1, 1000), st.floats(1, 1000))
def test_flow_is_never_backward_and_grows_with_the_drop(conductance, up_kpa, down_kpa, lower_kpa):
    low, high = sorted((down_kpa, lower_kpa))
    at_high = flow_mol_s(conductance, up_kpa, high)
    assert 0 <= at_high <= flow_mol_s(conductance, up_kpa, low) + 1e-12


@settings(max_examples=40, deadline=None)
@given(
    course=st.lists(
        st.tuples(
            st.booleans(),
            st.one_of(st.none(), st.floats(0, 160)),
            st.one_of(st.none(), st.floats(-50, 600)),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_pad_keeps_its_heat(course):
    pad = Pad(PadSettings(), 20.0)
    for powered, set_c, to_repair_w in course:
        pad.thermostat.set_c = set_c
        for _ in range(80):
            pad.advance(0.25, powered=powered, ambient_c=20.0, to_repair_w=to_repair_w)
            assert powered or not pad.heating
    stored_j = PadSettings().heat_capacity_j_k * (pad.temperature_c - 20.0)
    assert pad.heated_j - pad.lost_j - pad.given_j == pytest.approx(stored_j, rel=1e-6, abs=0.1)
