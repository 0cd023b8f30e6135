"""The heat balance holds, and nothing gets hotter than its sources, whatever is done."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.exchange import ClampSettings
from simulator.heat import SIDES, Heat
from simulator.pads import PadSettings, ThermostatState
from simulator.slab import LayerSettings, SlabSettings
from simulator.surroundings import Surroundings

layers = st.lists(
    st.builds(
        LayerSettings,
        thickness_mm=st.floats(2, 30),
        conductivity_w_mk=st.floats(0.1, 0.6),
        diffusivity_m2_s=st.floats(0.8e-7, 2e-7),
    ),
    min_size=1,
    max_size=4,
).map(tuple)
slabs = st.builds(SlabSettings, layers.filter(lambda each: sum(x.thickness_mm for x in each) >= 5))
by_side = st.fixed_dictionaries(dict.fromkeys(SIDES, st.floats(0, 1.1)))
places = st.builds(
    Surroundings,
    ambient_c=st.floats(-15, 40),
    draught=st.floats(0.5, 5),
    sun_w_m2=st.floats(0, 900),
)
acts = st.fixed_dictionaries(
    {
        "powered": by_side,
        "mounted": st.booleans(),
        "pressed": st.fixed_dictionaries(dict.fromkeys(SIDES, st.floats(0, 300))),
        "surroundings": places,
    }
)
broken = st.fixed_dictionaries(
    {
        "heater_share": st.floats(0, 1),
        "edge_heater_share": st.floats(0, 1),
        "lead_extra_ohm": st.floats(0, 50),
        "contact_share": st.floats(0, 1),
        "cutout_bridged": st.booleans(),
    }
)


@settings(max_examples=40, deadline=None)
@given(
    slab=slabs,
    course=st.lists(
        st.tuples(acts, broken, st.sampled_from(ThermostatState), st.booleans()),
        min_size=1,
        max_size=8,
    ),
)
def test_heat_in_less_heat_out_is_heat_stored(slab, course):
    heat = Heat(PadSettings(), slab, ClampSettings(), 20.0)
    start_j = heat.stored_j
    for act, knobs, state, another_tyre in course:
        for name, value in knobs.items():
            setattr(heat.pads["inner"], name, value)
        heat.pads["outer"].thermostat.state = state
        heat.pads["inner"].thermostat.set_c = 140.0
        if another_tyre:
            heat.slab.renew(act["surroundings"].ambient_c)
        for _ in range(40):
            heat.advance(1.0, **act)
            assert not any(
                pad.heating and act["powered"][side] == 0 for side, pad in heat.pads.items()
            )
    came_j = heat.heated_j + heat.sun_j + heat.slab.brought_j - heat.lost_j
    assert came_j == pytest.approx(heat.stored_j - start_j, abs=0.01)


@settings(max_examples=40, deadline=None)
@given(
    slab=slabs,
    start_c=st.floats(-15, 160),
    tyre_c=st.floats(-15, 40),
    course=st.lists(acts, min_size=1, max_size=8),
)
def test_without_heaters_and_sun_nothing_leaves_the_span_it_began_in(slab, start_c, tyre_c, course):
    heat = Heat(PadSettings(), slab, ClampSettings(), start_c)
    heat.slab.renew(tyre_c)
    reached_c = [start_c, tyre_c]
    for act in course:
        act["surroundings"].sun_w_m2 = 0.0
        reached_c.append(act["surroundings"].ambient_c)
        for _ in range(40):
            heat.advance(1.0, **act)
        now_c = [heat.slab.hottest_c, heat.slab.coldest_c, heat.slab.tyre_c]
        now_c += [each.centre_c for each in heat.pads.values()]
        now_c += [each.edge_c for each in heat.pads.values()]
        now_c += heat.clamp_c.values()
        # second law: heat only flows from hot to cold
        assert min(reached_c) - 1e-9 <= min(now_c) <= max(now_c) <= max(reached_c) + 1e-9
