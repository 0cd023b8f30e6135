"""Faults of air, people and host on the bare plant: each does what its docstring says."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from scipy.integrate import quad, solve_ivp

from simulator.crew import Stage
from simulator.faults import Disturbance, pressing
from simulator.faults.base import Onset
from simulator.gas import ATMOSPHERE_KPA, flow_mol_s
from simulator.panel import SIDES
from tests.unit.bare_plant import BUILT, KINDS, Bare, at_onset, healthy

GAS_J_MOL_K = 8.314462618  # CODATA 2018
FAULTS = {name: kind for name, kind in KINDS.items() if not issubclass(kind, Disturbance)}
IN_HOLD = Onset(600.0, Stage.HOLD)


def struck(name: str, seconds: float, **settings: object) -> Bare:
    """The healthy repair with this fault from its onset, for so long."""
    return at_onset(name).suffer(KINDS[name].model_validate(settings), seconds)


def bag_kpa(bare: Bare, after_s: float, place: int = 0) -> float:
    """One bag's true pressure so long after the onset; inner is 0."""
    return bare.rows[round(after_s) - 1].bags_kpa[place]


def first_s(bare: Bare, place: int, below_kpa: float) -> float:
    """When a bag was first below a pressure, s after the onset."""
    kpa = (row.bags_kpa[place] for row in bare.rows)
    return 1.0 + next(second for second, now_kpa in enumerate(kpa) if now_kpa < below_kpa)


def mended(bare: Bare, name: str, seconds: float, **settings: object) -> Bare:
    """The same rig so long after its fault has been mended."""
    KINDS[name].model_validate(settings).mend(bare.rig, bare.crew)
    return bare.go_on(seconds)


# Sums of `pressing` against others.


def test_the_fall_of_the_supply_against_an_integral() -> None:
    def s_per_kpa(gauge_kpa: float) -> float:
        lost_mol_s = 0.05 + flow_mol_s(3.0, gauge_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA)
        return 152.0 / (GAS_J_MOL_K * 293.15) / (lost_mol_s - 0.12)  # ideal gas at 20 °C

    whole_s, _ = quad(s_per_kpa, 150.0, 600.0)
    said_s = pressing.supply_falls_s(BUILT, hole_dm3_s_bar=3.0, use_mol_s=0.05, made_mol_s=0.12)
    assert said_s == pytest.approx(whole_s, rel=1e-3)
    assert pressing.supply_falls_s(BUILT, use_mol_s=0.1, made_mol_s=0.12) == math.inf


def test_the_face_rises_no_sooner_than_a_pad_on_deep_rubber() -> None:
    # A lump of 18 kJ/K and 0.3 m² of rubber, k 0.25 W/(m K), alpha 1.1e-7 m²/s, by the method
    # of lines; the pad lies on it with no resistance between.
    width_m, cells = 0.5e-3, 120
    cell_j_k = 0.25 / 1.1e-7 * width_m * 0.3
    between_w_k = 0.25 / width_m * 0.3

    def slope(_s: float, now_c: list[float]) -> list[float]:
        flows = [between_w_k * (a - b) for a, b in pairwise(now_c)] + [0.0]
        flows[0] *= 2  # half a cell to its middle
        pad = (1600.0 - flows[0]) / 18_000.0
        rubber = [(i - o) / cell_j_k for i, o in pairwise(flows)]
        return [pad, *rubber]

    def there(_s: float, now_c: list[float]) -> float:
        return now_c[0] - 100.0

    there.terminal = True  # type: ignore[attr-defined]  # scipy's own way of stopping
    start_c = [pressing.fitted_c(BUILT)] + [20.0] * cells
    exact = solve_ivp(slope, (0.0, 4000.0), start_c, method="BDF", events=there, rtol=1e-5)
    exact_s = exact.t_events[0][0]
    assert 0.75 * exact_s < pressing.face_rises_s(BUILT, 100.0) <= exact_s


def test_pads_cool_and_bags_warm_as_first_order_bodies() -> None:
    # exp: 18 kJ/K losing 0.3 m² times 13 W/(m² K) and 0.9 W/K at the rim.
    fall_s = 18_000.0 / 4.8 * math.log((140 - 20) / (100 - 20))
    assert pressing.cools_s(BUILT, 100.0) == pytest.approx(fall_s)
    # With the pads held by no power, the wall comes to 45 % of their warmth in its lag.
    idle = replace(BUILT, pad=replace(BUILT.pad, power_w=1e-9, back_loss_w_m2k=0.0))
    pads_c = pressing.fitted_c(BUILT)
    assert pads_c == pytest.approx(55.0)
    half_s = 300.0 * math.log(2)
    assert pressing.bag_warms_s(idle, 20 + 0.45 * (pads_c - 20) / 2) == pytest.approx(
        half_s, rel=0.03
    )
    assert pressing.bag_warms_s(idle, 60.0) == math.inf


def test_a_bag_that_follows_is_never_below_its_supply_nor_faster_than_its_regulator() -> None:
    slow = {"use_mol_s": 0.01}
    assert pressing.bags_follow_s(BUILT, **slow) == pressing.supply_falls_s(BUILT, **slow)
    # At once empty: what is left is the bag's own way through 0.04 and 0.3 in series, which
    # is 1 / sqrt(1/0.04² + 1/0.3²) dm³/(s bar).
    passage = 1 / math.sqrt(1 / 0.04**2 + 1 / 0.3**2)
    drains_s = pressing.bag_falls_s(BUILT, passage, exponent=1.4)
    assert pressing.bags_follow_s(BUILT, hole_dm3_s_bar=1e6) == pytest.approx(drains_s, abs=0.01)


def test_a_pore_and_a_pin() -> None:
    assert pytest.approx(9.1, abs=0.05) == pressing.PORE_S  # (1 mm)² / 1.1e-7 m²/s
    # 2 m at 1.6 m/s (ISO 13855, from memory) and 1.5 s to understand.
    assert pressing.second_pin_s() == pytest.approx(2.75)
    assert pytest.approx(50 * 6.894757, abs=0.1) == pressing.BAG_BEARS_KPA  # psi: NIST SP 811


@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_bags_that_share_a_hole_last_as_much_longer(exponent: float) -> None:
    one_s = pressing.bag_falls_s(BUILT, 0.05, exponent=exponent)
    assert pressing.bag_falls_s(BUILT, 0.05, exponent=exponent, bags=2) == pytest.approx(2 * one_s)
    assert pressing.bag_falls_s(BUILT, 0.1, exponent=exponent) == pytest.approx(one_s / 2)


# Air.


@pytest.mark.parametrize(
    ("name", "place", "hole"), [("hose_burst", 0, 1.0), ("bag_tears", 1, 10.0)]
)
def test_a_burst_is_too_little_between_adiabatic_and_isothermal(name, place, hole) -> None:
    bare = struck(name, 200)
    soonest_s = pressing.bag_falls_s(BUILT, hole, exponent=1.4)
    latest_s = 1.3 * pressing.bag_falls_s(BUILT, hole) + 1.0
    assert soonest_s <= first_s(bare, place, 150.0) <= latest_s
    assert first_s(bare, place, 150.0) <= KINDS[name]().deadline_s(BUILT)
    assert bag_kpa(bare, 200, place) < 1.0
    assert bag_kpa(bare, 200, 1 - place) > 200.0


def test_a_torn_bag_is_blown_into_and_a_burst_hose_is_not() -> None:
    taken = {}
    for name in ("bag_tears", "hose_burst"):
        bare = at_onset(name)
        before_mol = bare.rig.supply.taken_mol
        taken[name] = bare.suffer(KINDS[name](), 100).rig.supply.taken_mol - before_mol
    assert taken["hose_burst"] < 0.05
    # ISO 6358: 0.04 dm³/(s bar) behind 0.3 from 7.7 bar absolute pass some 0.0125 mol/s.
    assert taken["bag_tears"] == pytest.approx(1.25, rel=0.1)


@pytest.mark.parametrize(
    ("name", "place", "settings", "kpa_per_h"),
    [
        ("slow_leak", 0, {"kpa_per_h": 90.0}, 90.0),
        ("feed_kinked", 1, {"seeps_kpa_per_h": 90.0}, 90.0),
        # A fiftieth of 0.05 dm³/(s bar) from 3.1 bar absolute, 20 l at 66 °C: ISO 6358, ideal gas.
        ("exhaust_leaks_by", 1, {}, 0.001 * 3.09 / 24.37 * GAS_J_MOL_K * 339 / 20.0 * 3600),
    ],
)
def test_a_leak_loses_what_it_says_and_is_made_up_once_mended(
    name, place, settings, kpa_per_h
) -> None:
    bare = at_onset(name)
    bag = bare.rig.bags[SIDES[place]]
    gone_mol, gas_k = bag.gone_mol, bag.gas_c + 273.15
    bare.suffer(KINDS[name].model_validate(settings), 900)
    # Ideal gas; a little less as the pressure falls. The gas still warms meanwhile.
    said_mol = kpa_per_h / 4 * 20.0 / (GAS_J_MOL_K * gas_k)
    assert 0.9 * said_mol < bag.gone_mol - gone_mol < 1.05 * said_mol
    assert bag_kpa(bare, 900, place) < 200.0 < bag_kpa(bare, 900, 1 - place)
    mended(bare, name, 120, **settings)
    assert bag_kpa(bare, 120, place) > 200.0


def test_a_fed_leak_hides_from_the_gauge_and_shows_at_the_supply() -> None:
    bare = at_onset("leak_fed")
    before_mol = bare.rig.supply.taken_mol
    bare.suffer(KINDS["leak_fed"](), 1800)
    assert min(row.bags_kpa[0] for row in bare.rows) > 200.0
    # 0.02 dm³/(s bar) from 3.06 bar absolute (ISO 6358), 24.37 dm³/mol at 20 °C and 100 kPa.
    taken_mol = bare.rig.supply.taken_mol - before_mol
    assert taken_mol == pytest.approx(0.02 * 3.06 / 24.37 * 1800, rel=0.05)
    bare.rig.supply.shut = True  # and with the supply gone it is gone
    assert bare.go_on(700).rows[-1].bags_kpa[0] < 150.0


@pytest.mark.parametrize(("name", "sign"), [("regulator_creeps_up", 1), ("regulator_sags", -1)])
def test_a_regulator_creeps_at_its_rate_to_its_end(name, sign) -> None:
    ends = {"ends_higher_kpa": 150.0} if sign > 0 else {"ends_lower_kpa": 60.0}
    bare = struck(name, 600, kpa_per_min=40.0, **ends)
    (ends_kpa,) = ends.values()
    assert sign * (bag_kpa(bare, 60, 1) - bag_kpa(bare, 1, 1)) == pytest.approx(40.0, abs=8.0)
    assert sign * (bag_kpa(bare, 600, 1) - bag_kpa(bare, 1, 1)) == pytest.approx(ends_kpa, abs=8.0)
    assert mended(bare, name, 300).rows[-1].bags_kpa[1] == pytest.approx(207.0, abs=6.0)


@pytest.mark.parametrize(("cold_c", "ices"), [(-15.0, True), (None, False)])
def test_a_regulator_ices_only_in_the_cold(cold_c, ices) -> None:
    bare = at_onset("regulator_iced")
    fault = KINDS["regulator_iced"](cold_c=-15.0, leak_dm3_s_bar=0.04)
    began_at_s = bare.rig.now_s
    while (since_s := bare.rig.now_s - began_at_s) < 2600:
        fault.act(bare.rig, bare.crew, since_s)
        if cold_c is None:
            bare.rig.surroundings.ambient_c = 20.0
        bare.advance()
    assert (bare.rig.bags["inner"].ice_share > 0.5) is ices
    assert (bare.rows[-1].bags_kpa[0] < 150.0) is ices
    fault.mend(bare.rig, bare.crew)
    assert bare.go_on(200).rows[-1].bags_kpa[0] > 200.0


def test_a_bag_that_is_not_relieved_climbs_as_it_warms() -> None:
    bare = struck("relief_stuck", 1500)
    assert bag_kpa(bare, 1500, 0) > bag_kpa(bare, 300, 0) + 20.0  # ideal gas: some 10 °C warmer
    assert max(row.bags_kpa[1] for row in bare.rows) < 210.0  # its neighbour is relieved
    assert mended(bare, "relief_stuck", 300).rows[-1].bags_kpa[0] < 215.0


def test_bags_are_apart_by_what_was_set() -> None:
    bare = struck("bags_apart", 300, lower_kpa=80.0)
    inner, outer = bare.rows[-1].bags_kpa
    # The vent closes a few kPa above what is set.
    assert 70.0 < inner - outer < 82.0


@pytest.mark.parametrize(
    ("name", "settings", "seconds"),
    [
        ("supply_leaks", {}, 260),
        ("compressor_dead", {"use_mol_s": 0.1}, 500),
        ("supply_shut", {"seep_dm3_s_bar": 0.1}, 200),
        ("supply_drained", {}, 300),
    ],
)
def test_bags_follow_a_lost_supply_unless_they_are_locked_off(name, settings, seconds) -> None:
    bare = struck(name, seconds, **settings)
    assert max(bare.rows[-1].bags_kpa) < 150.0
    assert bare.rows[-1].supply_kpa < 150.0
    saved = at_onset(name)
    for valves in saved.rig.controls.valves.values():
        valves.feed_open = False
    saved.suffer(KINDS[name].model_validate(settings), seconds)
    assert min(saved.rows[-1].bags_kpa) > 200.0
    assert mended(bare, name, 600).rows[-1].supply_kpa > 205.0


@pytest.mark.parametrize("name", ["hose_burst", "bag_tears", "leak_fed", "bags_apart"])
def test_a_bag_is_whole_again_once_mended(name) -> None:
    bare = mended(struck(name, 100), name, 400)
    assert min(bare.rows[-1].bags_kpa) > 200.0
    for bag in bare.rig.bags.values():
        assert (bag.leak_dm3_s_bar, bag.hole_dm3_s_bar, bag.feed_cut) == (0.0, 0.0, False)


# People.


@pytest.mark.parametrize(
    "name",
    [
        "crew_walks_off",
        "here_button_taped",
        "fitted_cold",
        "opened_by_display",
        "takes_off_hot",
        "pins_never_in",
        "unpins_full_bag",
    ],
)
def test_people_come_to_their_senses(name) -> None:
    bare = struck(name, 30)
    assert (
        bare.crew.away
        or bare.crew.habits != bare.crew.plan.habits
        or not bare.rig.controls.pins_in
        or bare.rig.bags["outer"].exhaust_share == 0.0
    )
    KINDS[name]().mend(bare.rig, bare.crew)
    assert not bare.crew.away
    assert bare.crew.habits == bare.crew.plan.habits
    assert not bare.rig.controls.taped
    assert bare.rig.controls.pins_in or name == "fitted_cold"
    assert bare.rig.bags["outer"].exhaust_share == 1.0


@pytest.mark.parametrize("name", ["crew_walks_off", "here_button_taped"])
def test_nobody_comes_and_tape_says_that_somebody_did(name) -> None:
    onset = KINDS[name].onset
    healthy_presses = _presses(at_onset(name).go_on, "here_button", 1500)
    assert 0 < healthy_presses < 20
    bare = at_onset(name, onset)
    bare.rig.relays.coils["horn"] = True
    pressed = _presses(lambda s: bare.suffer(KINDS[name](), s), "here_button", 1500)
    assert pressed == (1500 if name == "here_button_taped" else 0)


def _presses(run, button: str, seconds: int) -> int:
    """Seconds in which a button is down."""
    down = 0
    for _ in range(seconds):
        bare = run(1.0)
        down += bare.rig.controls.pressed(button, bare.rig.now_s)
    return down


def test_a_stuck_start_button_asks_for_ever() -> None:
    assert _presses(at_onset("start_button_stuck").go_on, "start_button", 100) == 0
    bare = at_onset("start_button_stuck")
    fault = KINDS["start_button_stuck"]()
    assert _presses(lambda s: bare.suffer(fault, s), "start_button", 100) == 100
    fault.mend(bare.rig, bare.crew)
    assert _presses(bare.go_on, "start_button", 100) == 0


@pytest.mark.parametrize(
    ("name", "down"),
    [
        ("let_down_hot", (True, True)),
        ("trimmed_too_far", (False, True)),
        ("wrong_bag_let_down", (True, False)),
    ],
)
def test_air_let_out_by_hand_is_lost_hot_and_can_be_put_back(name, down) -> None:
    bare = struck(name, 150)
    assert tuple(kpa < 150.0 for kpa in bare.rows[-1].bags_kpa) == down
    assert min(kpa for kpa in bare.rows[-1].bags_kpa) > 80.0  # a let-down, and no burst
    assert bare.rig.slab.hottest_c > 120.0
    assert min(mended(bare, name, 200).rows[-1].bags_kpa) > 200.0


def test_hands_let_go_once_they_have_done_it() -> None:
    """Whoever shuts the exhausts again has shut them: the fault does not open them anew."""
    bare = struck("let_down_hot", 20)
    fault = KINDS["let_down_hot"]()
    fault.mend(bare.rig, bare.crew)
    fault.act(bare.rig, bare.crew, 20.0)
    assert not any(valves.exhaust_open for valves in bare.rig.controls.valves.values())


def test_pins_pulled_show_at_the_input_under_pressure() -> None:
    bare = struck("pins_pulled", 3)
    assert not bare.rig.switches()["pins_in"]
    assert min(bare.rows[-1].bags_kpa) > 200.0
    KINDS["pins_pulled"]().mend(bare.rig, bare.crew)
    assert bare.rig.switches()["pins_in"]


def test_pins_never_in_while_the_bags_fill() -> None:
    fault = KINDS["pins_never_in"]()
    bare = struck("pins_never_in", round(fault.deadline_s(BUILT)) - 1)
    assert not bare.rig.controls.pins_in
    assert not fault.harmed(bare.rig, bare.crew)  # 3 kN are not there yet
    assert bare.suffer(fault, 30).rows[-1].bags_kpa[0] > 10.0
    assert fault.harmed(bare.rig, bare.crew)


def test_a_blocked_silencer_leaves_one_bag_full_when_the_pins_come_out() -> None:
    bare = struck("unpins_full_bag", 425)
    inner, outer = bare.rows[-1].bags_kpa
    assert inner < 20.0
    assert outer > 150.0
    assert not bare.rig.controls.pins_in
    assert bare.rows[100].stage is Stage.LET_DOWN


def test_displays_open_a_core_that_is_still_hot() -> None:
    bare = struck("opened_by_display", 3100)
    opened_s = next(s for s, row in enumerate(bare.rows) if row.stage is Stage.LET_DOWN)
    assert max(bare.rows[opened_s].pads_c) < 100.0
    assert bare.rig.slab.hottest_c > 110.0
    assert healthy().since(KINDS["opened_by_display"].onset)[3100].stage is Stage.COOL


def test_pads_heat_with_no_air_behind_them() -> None:
    bare = struck("heated_no_air", 900)
    assert max(bare.rows[-1].pads_c) > 95.0
    assert max(bare.rows[-1].bags_kpa) < 1.0
    assert bare.rig.controls.mounted
    assert min(mended(bare, "heated_no_air", 300).rows[-1].bags_kpa) > 195.0


def test_pads_are_fitted_cold() -> None:
    bare = struck("fitted_cold", 1100)
    mounted = next(row for row in bare.rows if row.stage is Stage.AIR_UP)
    assert max(mounted.pads_c) < 25.0
    assert not any(row.stage is Stage.PREHEAT for row in bare.rows)


def test_a_knob_turned_low_cools_both_pads_and_turned_back_warms_them() -> None:
    bare = struck("knob_turned_low", 900)
    assert max(bare.rows[-1].pads_c) < 122.0
    assert min(mended(bare, "knob_turned_low", 900).rows[-1].pads_c) > 130.0


def test_a_hold_cut_short_goes_on_once_mended() -> None:
    bare = struck("hold_cut_short", 600)
    assert bare.crew.stage is Stage.COOL
    assert max(bare.rows[-1].pads_c) < 130.0
    mended(bare, "hold_cut_short", 900)
    assert bare.crew.stage is Stage.HOLD
    assert min(bare.rows[-1].pads_c) > 130.0


@pytest.mark.parametrize("bridged", [True, False])
def test_bridged_heat_goes_on_without_a_permit(bridged) -> None:
    bare = at_onset("left_on_overnight")
    bare.crew.plans = (replace(bare.crew.plan, hold_s=0.0),)  # the permit goes now
    fault = KINDS["left_on_overnight"]()
    bare.suffer(fault, 900) if bridged else bare.go_on(900)
    assert not bare.permit
    assert (min(bare.rows[-1].pads_c) > 130.0) is bridged
    if bridged:
        fault.mend(bare.rig, bare.crew)
        assert max(bare.go_on(900).rows[-1].pads_c) < 130.0


def test_hot_pads_are_taken_off_in_a_hurry_and_not_otherwise() -> None:
    bare = struck("takes_off_hot", 560)
    assert bare.crew.stage is Stage.TAKE_OFF
    assert max(bare.rows[-1].pads_c) > 51.0  # ISO 13732-1, from memory: a minute's touch
    assert healthy().since(KINDS["takes_off_hot"].onset)[560].stage is not Stage.TAKE_OFF


@pytest.mark.parametrize("forgets", [True, False])
def test_at_the_end_of_the_day_a_pad_stays_plugged_only_if_forgotten(forgets) -> None:
    bare = at_onset("left_energised")
    fault = KINDS["left_energised"]()
    bare.suffer(fault, 400) if forgets else bare.go_on(400)
    assert bare.crew.at_home
    assert all(bare.rig.controls.plugged.values()) is forgets
    fault.mend(bare.rig, bare.crew)
    assert not any(bare.rig.controls.plugged.values())


# The supervisor's computer and the papers: whoever runs it reads them.


@pytest.mark.parametrize(
    ("name", "where", "knob"),
    [
        ("broker_away", "host", "broker_away"),
        ("gateway_away", "host", "gateway_away"),
        ("disk_full", "host", "disk_full"),
        ("computer_on_battery", "host", "on_battery"),
        ("daemon_down", "host", "down"),
        ("compound_expired", "papers", "compound_expired"),
        ("calibration_overdue", "papers", "calibration_overdue"),
        ("rig_not_commissioned", "papers", "not_commissioned"),
        ("cure_time_not_stated", "papers", "no_cure_time"),
    ],
)
def test_computer_and_papers_are_out_of_order_until_mended(name, where, knob) -> None:
    bare = at_onset(name)
    fault = KINDS[name]()
    assert getattr(getattr(bare.rig, where), knob) is False
    fault.act(bare.rig, bare.crew, 0.0)
    assert getattr(getattr(bare.rig, where), knob) is True
    fault.mend(bare.rig, bare.crew)
    assert getattr(getattr(bare.rig, where), knob) is False


def test_a_daemon_comes_back_and_a_battery_runs_flat() -> None:
    bare = at_onset("daemon_down")
    for since_s, down in [(0.0, True), (119.0, True), (120.0, False)]:
        KINDS["daemon_down"](down_s=120.0).act(bare.rig, bare.crew, since_s)
        assert bare.rig.host.down is down
    for since_s, down in [(0.0, False), (599.0, False), (600.0, True)]:
        KINDS["computer_on_battery"](lasts_s=600.0).act(bare.rig, bare.crew, since_s)
        assert bare.rig.host.down is down


def test_a_clock_that_jumps_moves_no_plant() -> None:
    bare = struck("clock_jumps", 60)
    assert bare.rig.host.clock_step_s == 7200.0
    assert bare.rows == healthy().since(IN_HOLD)[:60]
    KINDS["clock_jumps"]().mend(bare.rig, bare.crew)
    assert bare.rig.host.clock_step_s == 0.0


# Every one of them.


@pytest.mark.parametrize("name", FAULTS)
def test_deadlines_shrink_with_size_and_stand_in_all_weathers(name) -> None:
    kind = FAULTS[name]
    for ambient_c in (-15.0, 0.0, 40.0):
        built = replace(BUILT, ambient_c=ambient_c)
        assert 0 < kind().deadline_s(built) < 12 * 3600
    sizes = {"hole_dm3_s_bar", "leak_dm3_s_bar", "kpa_per_h", "kpa_per_min", "use_mol_s"}
    for field in sizes & set(kind.model_fields):
        figure = kind.model_fields[field]
        most = next(item.le for item in figure.metadata if hasattr(item, "le"))
        larger = kind.model_validate({field: most})
        assert larger.deadline_s(BUILT) < kind().deadline_s(BUILT)


@pytest.mark.parametrize("side", SIDES)
def test_a_side_can_be_chosen(side) -> None:
    for name, kind in FAULTS.items():
        if "bag" in kind.model_fields:
            assert kind(bag=side).bag == side, name
    bare = struck("hose_burst", 30, bag=side)
    assert bare.rows[-1].bags_kpa[SIDES.index(side)] < 100.0
