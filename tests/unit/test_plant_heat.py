"""A rig's heat: balance, losses, contact, rim, place, and times by energy over power."""

import copy
import pickle
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simulator.exchange import ClampSettings, operator
from simulator.heat import SIDES, Heat
from simulator.pads import PadSettings, ThermostatState
from simulator.slab import SlabSettings
from simulator.surroundings import Surroundings

PAD = PadSettings()
CLAMP = ClampSettings()
AREA_M2 = {"centre": PAD.area_m2 * 0.67, "edge": PAD.area_m2 * 0.33}
PRESSED_KPA = 207.0


def rig(start_c=20.0, slab=None, pad=PAD):
    return Heat(pad, slab or SlabSettings(), CLAMP, start_c)


def run(heat, seconds, *, set_c=None, mounted=True, kpa=PRESSED_KPA, around=None, dt_s=1.0):
    """Advance; None switches the pads off. Returns the inner pad's centre, °C, by step."""
    return shown_until(
        heat, None, seconds, set_c=set_c, mounted=mounted, kpa=kpa, around=around, dt_s=dt_s
    )


def shown_until(
    heat, over, seconds, *, set_c=None, mounted=True, kpa=PRESSED_KPA, around=None, dt_s=1.0
):
    """The same, until `over` says so of the inner pad's centre."""
    around = around or Surroundings(20.0)
    for pad in heat.pads.values():
        pad.thermostat.set_c = set_c
    powered = dict.fromkeys(SIDES, 0.0 if set_c is None else 1.0)
    pressed = dict.fromkeys(SIDES, kpa)
    shown = []
    for _ in range(round(seconds / dt_s)):
        heat.advance(dt_s, powered=powered, mounted=mounted, pressed=pressed, surroundings=around)
        shown.append(heat.pads["inner"].centre_c)
        if over is not None and over(shown[-1]):
            break
    return shown


@cache
def held_once(hold_s):
    heat = rig()
    run(heat, 1800, set_c=60.0, mounted=False)
    run(heat, hold_s, set_c=140.0)
    return heat


def held(hold_s=9000):
    """A rig preheated, mounted and held at 140 °C."""
    return copy.deepcopy(held_once(hold_s))


def test_balance_closes_over_a_whole_repair_with_everything_changing():
    heat = rig(15.0)
    start_j = heat.stored_j
    run(heat, 1500, set_c=60.0, mounted=False)
    for kpa in range(0, 207, 5):
        run(heat, 4, kpa=kpa)
    run(heat, 3000, set_c=140.0, around=Surroundings(10.0, draught=2.5, sun_w_m2=700.0))
    heat.pads["outer"].contact_share = 0.3
    heat.pads["inner"].edge_heater_share = 0.0
    run(heat, 3000, set_c=140.0, around=Surroundings(-15.0))
    heat.slab.renew(5.0)
    run(heat, 3000, mounted=False, around=Surroundings(40.0))
    came_j = heat.heated_j + heat.sun_j + heat.slab.brought_j - heat.lost_j
    # rounding of some 10 000 steps, against 10 MJ
    assert heat.heated_j > 10e6
    assert came_j == pytest.approx(heat.stored_j - start_j, abs=1.0)


def losses_mounted_w(heat, air_c, draught=1.0):
    """What settings and temperatures say leaves to the air, on the tyre, W."""
    size, slab = PAD, heat.slab
    back_w_m2k = size.back_loss_w_m2k * (1 - size.back_clamp_share)
    lost_w = slab.settings.tyre_loss_w_k * (slab.tyre_c - air_c)
    for side, pad in heat.pads.items():
        lost_w += back_w_m2k * size.area_m2 * (pad.temperature_c - air_c)
        lost_w += size.edge_loss_w_k * (pad.edge_c - air_c)
        lost_w += CLAMP.loss_w_k * (heat.clamp_c[side] - air_c)
    return lost_w * draught


def losses_bare_w(heat, air_c, draught=1.0):
    """The same with the pads off and the repair's faces bare."""
    size, slab = PAD, heat.slab
    lost_w = slab.settings.tyre_loss_w_k * (slab.tyre_c - air_c) * draught
    for side, pad in heat.pads.items():
        faces_w_m2k = size.back_loss_w_m2k + size.front_loss_w_m2k
        lost_w += faces_w_m2k * size.area_m2 * (pad.temperature_c - air_c) * draught
        lost_w += size.edge_loss_w_k * (pad.edge_c - air_c) * draught
        lost_w += CLAMP.loss_w_k * (heat.clamp_c[side] - air_c) * draught
    half_cell_m = slab.cells.width_m[[0, -1]] / 2
    face_m2k_w = half_cell_m / 0.25 + 1 / (slab.settings.bare_w_m2k * draught)
    for column_c, area_m2 in ((slab.centre_c, "centre"), (slab.edge_c, "edge")):
        for cell_c, resistance in zip(column_c[[0, -1]], face_m2k_w, strict=True):
            lost_w += AREA_M2[area_m2] * (cell_c - air_c) / resistance
    return lost_w


@pytest.mark.parametrize(
    ("mounted", "losses_w"), [(True, losses_mounted_w), (False, losses_bare_w)]
)
@pytest.mark.parametrize("draught", [1.0, 2.71828])
def test_what_leaves_is_what_settings_and_temperatures_say(mounted, losses_w, draught):
    heat = held(hold_s=3000)
    around = Surroundings(5.0, draught)
    before_w = losses_w(heat, 5.0, draught)
    before_j = heat.lost_j
    run(heat, 1, mounted=mounted, around=around)
    mean_w = (before_w + losses_w(heat, 5.0, draught)) / 2
    assert heat.lost_j - before_j == pytest.approx(mean_w, rel=1e-6)


def test_pads_off_the_tyre_cool_as_a_library_integrates_two_zones():
    heat = rig()
    for pad in heat.pads.values():
        pad.centre_c, pad.edge_c = 140.0, 130.0
    run(heat, 1800, mounted=False)
    heat_j_k = np.array([0.67, 0.33]) * PAD.heat_capacity_j_k
    loss_w_k = (PAD.back_loss_w_m2k + PAD.front_loss_w_m2k) * PAD.area_m2 * np.array([0.67, 0.33])
    loss_w_k[1] += PAD.edge_loss_w_k

    def rates(_t, zones_c):
        across_w = PAD.between_w_k * (zones_c[0] - zones_c[1])
        return (np.array([-across_w, across_w]) - loss_w_k * (zones_c - 20.0)) / heat_j_k

    exact = solve_ivp(rates, (0, 1800), [140.0, 130.0], rtol=1e-9, atol=1e-9).y[:, -1]
    pad = heat.pads["outer"]
    assert [pad.centre_c, pad.edge_c] == pytest.approx(exact, abs=1e-3)


def test_a_second_is_a_short_enough_step():
    coarse, fine = rig(), rig()
    for heat, dt_s in ((coarse, 1.0), (fine, 0.25)):
        run(heat, 900, mounted=False, set_c=60.0, dt_s=dt_s)
        run(heat, 900, set_c=200.0, dt_s=dt_s)  # never reached: no cycling to compare
        run(heat, 1200, dt_s=dt_s)
    assert coarse.slab.cells_c == pytest.approx(fine.slab.cells_c, abs=0.3)
    for side in SIDES:
        assert coarse.pads[side].centre_c == pytest.approx(fine.pads[side].centre_c, abs=0.3)


def test_thermostats_cycle_the_pads_around_their_setting():
    heat = held(hold_s=5400)
    shown = run(heat, 3600, set_c=140.0)
    assert 137.5 < min(shown) < 139.5
    assert 140.5 < max(shown) < 142.5
    rising = np.diff(shown) > 0
    assert np.count_nonzero(rising[1:] != rising[:-1]) >= 6


def test_the_rim_stays_behind_the_centre():
    heat = held()
    middle = heat.slab.centre_c.size // 2
    behind_c = heat.slab.centre_c - heat.slab.edge_c
    assert behind_c.min() > 1.0
    assert 5.0 < behind_c[middle] < 20.0
    assert all(pad.centre_c - pad.edge_c > 1.0 for pad in heat.pads.values())
    assert 20.5 < heat.slab.tyre_c < 50.0


def test_without_an_edge_both_columns_are_one_slab():
    apart = replace(SlabSettings(), edge_path_mm=1e9)
    even = replace(PAD, edge_loss_w_k=0.0, edge_power_share=PAD.edge_area_share)
    heat = rig(slab=apart, pad=even)
    run(heat, 3600, set_c=140.0)
    assert heat.slab.edge_c == pytest.approx(heat.slab.centre_c, abs=1e-4)
    assert heat.slab.tyre_c == pytest.approx(20.0, abs=1e-3)


def test_centre_and_edge_column_even_out_as_two_lumps():
    apart = replace(SlabSettings.plain(thickness_mm=50.0), edge_path_mm=1e9, bare_w_m2k=1e-6)
    heat = rig(slab=apart)
    cells = heat.slab.depth_mm.size
    heat.slab.cells_c = np.repeat([100.0, 20.0], cells)
    run(heat, 7200, mounted=False)
    # two lumps: the difference falls by exp(-G (1/C1 + 1/C2) t); k times thickness times
    # perimeter over path, and 50 mm of k / alpha on each column's area
    between_w_k = 0.25 * 0.050 * 1.8 / 0.100
    columns_j_k = [0.050 * 0.25 / 1.1e-7 * area for area in AREA_M2.values()]
    share = np.exp(-between_w_k * sum(1 / each for each in columns_j_k) * 7200)
    assert share < 0.97
    assert heat.slab.centre_c - heat.slab.edge_c == pytest.approx([80.0 * share] * cells, rel=1e-4)


def test_the_clamp_settles_between_pad_and_air():
    heat = held()
    run(heat, 7200, set_c=140.0)
    back_w_k = PAD.back_loss_w_m2k * PAD.back_clamp_share * PAD.area_m2
    share = back_w_k / (back_w_k + CLAMP.loss_w_k)  # two conductances in a row
    for side, pad in heat.pads.items():
        settled_c = 20.0 + (pad.temperature_c - 20.0) * share
        assert heat.clamp_c[side] == pytest.approx(settled_c, abs=1.0)


def test_both_sides_of_an_even_repair_are_alike():
    heat = rig(slab=SlabSettings.plain())
    run(heat, 3600, set_c=140.0)
    assert heat.pads["inner"].centre_c == pytest.approx(heat.pads["outer"].centre_c, abs=1e-6)
    assert heat.slab.centre_c == pytest.approx(heat.slab.centre_c[::-1], abs=1e-6)


@pytest.mark.parametrize(
    ("mounted", "kpa", "contact_share", "warmer_than_c", "cooler_than_c"),
    [
        (True, 207.0, 1.0, 100.0, 130.0),
        (True, 0.0, 1.0, 45.0, 80.0),
        (True, 207.0, 0.0, 25.0, 50.0),
        (False, 207.0, 1.0, 19.99, 20.01),
    ],
)
def test_the_face_warms_by_its_contact(mounted, kpa, contact_share, warmer_than_c, cooler_than_c):
    heat = rig(140.0)
    heat.slab.renew(20.0)
    for pad in heat.pads.values():
        pad.contact_share = contact_share
    run(heat, 300, mounted=mounted, kpa=kpa, set_c=140.0)
    assert warmer_than_c < heat.slab.centre_c[0] < cooler_than_c


def test_heat_given_to_a_cold_repair_is_what_the_repair_gains():
    heat = rig(140.0, replace(SlabSettings(), tyre_loss_w_k=0.0))
    heat.slab.renew(20.0)
    before_j = heat.slab.stored_j
    run(heat, 600, set_c=140.0)
    given_j = sum(pad.given_j for pad in heat.pads.values())
    assert given_j == pytest.approx(heat.slab.stored_j - before_j, rel=1e-9)
    assert all(pad.given_j > 100e3 for pad in heat.pads.values())


def test_a_burnt_out_rim_cools_while_the_centre_stays():
    heat = held(hold_s=5400)
    heat.pads["inner"].edge_heater_share = 0.0
    run(heat, 3600, set_c=140.0)
    assert heat.pads["inner"].centre_c > 137.0
    assert heat.pads["inner"].edge_c < heat.pads["outer"].edge_c - 5.0


@pytest.mark.parametrize(
    ("around", "warmer"),
    [
        (Surroundings(20.0), None),
        (Surroundings(20.0, draught=3.0), False),
        (Surroundings(20.0, sun_w_m2=800.0), True),
        (Surroundings(35.0), True),
    ],
)
def test_draught_sun_and_air_show_in_the_outer_half(around, warmer):
    still, heat = rig(80.0), rig(80.0)
    run(still, 3600)
    run(heat, 3600, around=around)
    gained_c = heat.clamp_c["outer"] - still.clamp_c["outer"]
    assert (gained_c > 1.0, gained_c < -1.0) == (warmer is True, warmer is False)
    if around.sun_w_m2:
        assert heat.clamp_c["inner"] == pytest.approx(still.clamp_c["inner"], abs=1.0)
        assert heat.pads["outer"].centre_c > heat.pads["inner"].centre_c + 0.5


def runaway(*, bridged):
    heat = held(hold_s=3600)
    heat.pads["inner"].thermostat.state = ThermostatState.STUCK_CLOSED
    heat.pads["inner"].cutout_bridged = bridged
    return heat, max(run(heat, 3600, set_c=140.0))


def test_a_runaway_ends_at_the_cutout_a_little_late():
    heat, hottest_c = runaway(bridged=False)
    # the bimetal's lag of 15 s, and what a pad rises in it at no more than 0.09 °C/s
    assert PAD.cutout_c < hottest_c < PAD.cutout_c + 15 * 0.09 + 0.5
    assert (heat.pads["inner"].cutout_ok, heat.pads["outer"].cutout_ok) == (False, True)
    assert runaway(bridged=True)[1] > 190.0


HEAT_UP_C = 140.0 - 1.0


@pytest.mark.parametrize("ambient_c", [-15.0, 20.0, 40.0])
@pytest.mark.parametrize("thickness_mm", [20.0, 40.0, 60.0, 80.0])
def test_heat_up_and_cool_down_take_as_long_as_energy_over_power(thickness_mm, ambient_c):
    heat = rig(ambient_c, SlabSettings.repair(thickness_mm=thickness_mm))
    around = Surroundings(ambient_c)
    shown = shown_until(heat, lambda pad_c: pad_c >= HEAT_UP_C, 9000, set_c=140.0, around=around)
    up_s = len(shown)
    # No sooner than the pad alone without any loss.
    rise_c = HEAT_UP_C - ambient_c
    assert up_s > PAD.heat_capacity_j_k * rise_c / PAD.power_w
    # No later than pad, its half of the clamp and its half of the repair (k / alpha, the
    # whole of it as hot as the pad) by the power left at the top with the full loss of
    # back, edge and rim: 13 W/m²K on 0.30 m², 0.9 and some 1 W/K.
    rubber_j_k = PAD.area_m2 * thickness_mm / 2000 * 0.25 / 1.1e-7
    slowest_w = 1581.0 - (13.0 * 0.30 + 0.9 + 1.0) * rise_c
    all_j_k = PAD.heat_capacity_j_k + CLAMP.heat_capacity_j_k + rubber_j_k
    assert up_s < all_j_k * rise_c / slowest_w

    run(heat, 1800, set_c=140.0, around=around)
    shown = shown_until(heat, lambda pad_c: pad_c <= 100.0, 14_400, around=around)
    from_c, down_s = shown[0], len(shown)
    # Newton's law for one lump: no sooner than the pad alone with all that can leave it,
    # its own losses and the rubber's (k over half a cell at most); no later than pad, clamp
    # and rubber all hot together by the clamp's and the pad's losses in series alone.
    ratio = np.log((from_c - ambient_c) / (100.0 - ambient_c))
    assert down_s > PAD.heat_capacity_j_k / (13.0 * 0.30 + 0.9 + 6.0) * ratio
    back_w_k = 0.4 * 3.9 + 1 / (1 / (0.6 * 3.9) + 1 / CLAMP.loss_w_k)
    assert down_s < all_j_k / back_w_k * ratio


def test_thicker_repairs_and_colder_mornings_take_longer():
    def up_s(thickness_mm, ambient_c):
        heat = rig(ambient_c, SlabSettings.repair(thickness_mm=thickness_mm))
        around = Surroundings(ambient_c)
        return len(
            shown_until(heat, lambda pad_c: pad_c >= HEAT_UP_C, 9000, set_c=140.0, around=around)
        )

    assert up_s(20.0, 20.0) < up_s(40.0, 20.0)
    assert up_s(40.0, 40.0) < up_s(40.0, 20.0) < up_s(40.0, -15.0)


@pytest.mark.parametrize(
    "copied",
    [copy.deepcopy, lambda heat: pickle.loads(pickle.dumps(heat))],  # noqa: S301 - its own
)
def test_a_snapshot_goes_on_equal_to_the_bit(copied):
    heat = held(hold_s=900)
    snapshot = copied(heat)
    operator.cache_clear()
    for each in (heat, snapshot):
        run(each, 900, set_c=140.0, around=Surroundings(8.0, 1.7))
        run(each, 300, mounted=False)
    assert heat.slab.cells_c.tobytes() == snapshot.slab.cells_c.tobytes()
    assert (heat.lost_j, heat.heated_j) == (snapshot.lost_j, snapshot.heated_j)
    for side in SIDES:
        assert heat.pads[side].centre_c == snapshot.pads[side].centre_c
        assert heat.clamp_c[side] == snapshot.clamp_c[side]


def test_a_fork_does_not_touch_what_it_came_from():
    heat = held(hold_s=900)
    before = heat.slab.cells_c.tobytes()
    run(copy.deepcopy(heat), 600, set_c=140.0)
    assert heat.slab.cells_c.tobytes() == before


def test_matrices_are_few_shared_and_never_in_a_snapshot():
    operator.cache_clear()
    heat = rig()
    for step in range(500):
        run(heat, 1, kpa=step / 5)
    built = operator.cache_info().misses
    # 15 to 250 W/(m² K) in steps of 2 % are 141
    assert 100 < built <= 142
    run(copy.deepcopy(heat), 60, kpa=50.0)
    for step in range(500):
        run(rig(), 1, kpa=step / 5)
    for kpa in range(100, 300, 20):  # pressed fully from 100 kPa
        run(heat, 1, kpa=float(kpa))
    assert operator.cache_info().misses <= built + 1
    assert len(pickle.dumps(heat)) < 10_000


@pytest.mark.parametrize(
    "change",
    [
        {"kpa": 20.0},
        {"mounted": False},
        {"around": Surroundings(20.0, draught=3.0)},
        {"dt_s": 0.5},
    ],
)
def test_a_change_is_felt_in_the_same_step(change):
    # A copy has no matrix at hand, so it looks for the right one.
    heat = rig(80.0)
    heat.slab.renew(20.0)
    run(heat, 10)
    fresh = copy.deepcopy(heat)
    unchanged = copy.deepcopy(heat)
    for each in (heat, fresh):
        run(each, 5, **change)
    run(unchanged, 5)
    assert heat.slab.cells_c.tobytes() == fresh.slab.cells_c.tobytes()
    assert heat.lost_j == fresh.lost_j
    assert heat.lost_j != unchanged.lost_j
