"""Harm: its sums against figures from outside, and every deadline against the bare plant."""

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from simulator.crew import Crew, RepairPlan, Stage
from simulator.faults import Disturbance, Fault, area_of, catalogue, harm
from simulator.faults.base import Onset
from simulator.gas import ATMOSPHERE_KPA, flow_mol_s
from simulator.plant import Rig, RigSettings
from simulator.slab import SlabSettings

BUILT = RigSettings()
# Another rig on a cold morning: a thick repair, stronger and heavier pads, larger bags.
OTHER = RigSettings(
    ambient_c=-15.0,
    slab=SlabSettings.repair(thickness_mm=80.0),
    pad=replace(BUILT.pad, power_w=2400.0, heat_capacity_j_k=25_000.0),
    bag=replace(BUILT.bag, volume_l=30.0),
)
LATER_MAX = 3.0

# Faults whose harm comes later than three deadlines, and why that is honest.
LATER: dict[str, str] = {}


def test_boiling_point_under_pressure() -> None:
    # IAPWS-IF97 release, table 36: saturation temperature at 0.1 and 1 MPa.
    assert harm.boiling_c(100.0 - ATMOSPHERE_KPA) + 273.15 == pytest.approx(372.755919, abs=1e-5)
    assert harm.boiling_c(1000.0 - ATMOSPHERE_KPA) + 273.15 == pytest.approx(453.035632, abs=1e-5)
    assert harm.boiling_c(207.0) == pytest.approx(134.5, abs=0.1)  # IAPWS steam tables
    assert harm.boiling_c(0.0) == pytest.approx(99.974, abs=0.01)  # ITS-90: water at 1 atmosphere


def test_over_cure_follows_arrhenius() -> None:
    # Arrhenius, 90 kJ/mol, R from CODATA 2018; computed here on its own.
    for warmer_c in (130.0, 150.0, 160.0):
        exponent = -90_000 / 8.314462618 * (1 / (warmer_c + 273.15) - 1 / 413.15)
        assert harm.cure_rate(warmer_c) == pytest.approx(math.exp(exponent))
    assert harm.reversion_s(140.0) == pytest.approx(300 * 60)
    assert harm.reversion_s(140.0, spent_min=300) == 0
    # "Rate doubles each 10 °C": common practice, no source.
    assert harm.reversion_s(140.0) / harm.reversion_s(150.0) == pytest.approx(2, rel=0.1)


@pytest.mark.parametrize(
    ("from_c", "to_c", "power_w"),
    [(20.0, 140.0, 1600.0), (140.0, 160.0, 1600.0), (140.0, 120.0, 0.0), (140.0, 120.0, 270.0)],
)
def test_a_lump_against_an_integrator(from_c: float, to_c: float, power_w: float) -> None:
    loss_w_k, heat_j_k, around_c = 3.9, 18_000.0, 10.0

    def slope(_t: float, now_c: np.ndarray) -> np.ndarray:
        return (power_w - loss_w_k * (now_c - around_c)) / heat_j_k

    def there(_t: float, now_c: np.ndarray) -> float:
        return float(now_c[0] - to_c)

    there.terminal = True  # type: ignore[attr-defined]  # scipy's own way of stopping
    run = solve_ivp(slope, (0.0, 1e5), [from_c], events=there, rtol=1e-9, atol=1e-9)
    said = harm.lump_s(heat_j_k, power_w, from_c, to_c, loss_w_k=loss_w_k, around_c=around_c)
    assert run.t_events is not None
    assert said == pytest.approx(run.t_events[0][0], rel=1e-6)


def test_a_lump_that_never_gets_there() -> None:
    assert harm.lump_s(18_000, 400, 140, 160, loss_w_k=4, around_c=20) == math.inf
    assert harm.lump_s(18_000, 800, 140, 120, loss_w_k=4, around_c=20) == math.inf
    assert harm.lump_s(18_000, 0, 140, 160) == math.inf
    assert harm.lump_s(18_000, 1000, 140, 120) == math.inf
    assert harm.lump_s(18_000, 1000, 140, 140) == 0
    assert harm.lump_s(18_000, 1800, 140, 160) == pytest.approx(200)


def test_emptying_against_closed_form_and_integrator() -> None:
    # Choked all the way and at the reference temperature, C litre a second leave for each bar
    # (ISO 6358), so the pressure falls as exp(-C t / V).
    choked = harm.emptying_s(20.0, 0.5, 500.0, 300.0)
    closed = 20.0 / 0.5 * math.log((500 + 101.325) / (300 + 101.325))
    assert choked == pytest.approx(closed, rel=1e-4)

    def per_kpa(absolute_kpa: float) -> float:
        per_mol = 8.314462618 * 293.15 / 20.0
        return 1 / (per_mol * flow_mol_s(0.5, absolute_kpa, ATMOSPHERE_KPA))

    whole, _ = quad(per_kpa, 50 + ATMOSPHERE_KPA, 207 + ATMOSPHERE_KPA)
    assert harm.emptying_s(20.0, 0.5, 207.0, 50.0) == pytest.approx(whole, rel=1e-4)
    burst = harm.emptying_s(20.0, 0.5, 207.0, 50.0, exponent=1.4)
    assert burst == pytest.approx(whole / 1.4, rel=1e-4)
    assert harm.emptying_s(20.0, 0.0, 207.0, 50.0) == math.inf


def test_a_hole_of_the_wanted_size_loses_what_was_wanted() -> None:
    hole = harm.hole_dm3_s_bar(45.0, 20.0, 206.84, 60.0)
    minute_s = harm.emptying_s(20.0, hole, 206.84, 206.84 - 45 / 60, gas_c=60.0)
    assert minute_s == pytest.approx(60, rel=0.01)


def test_force_on_the_clamp() -> None:
    # 10 kPa on 0.3 m² is 3 kN.
    assert harm.clamp_kn(0.3, 10.0) == pytest.approx(3.0)


def test_a_joint_that_chars_its_plug() -> None:
    # The same by a root finder on V² r / (R + r)².
    heater_ohm = 230.0**2 / BUILT.pad.power_w
    ohm = brentq(lambda r: 230.0**2 * r / (heater_ohm + r) ** 2 - harm.JOINT_CHARS_W, 0, heater_ohm)
    assert harm.joint_chars_ohm(BUILT) == pytest.approx(ohm)


@dataclass
class Bare:
    """A rig with its crew, and a stand-in for the supervisor that never looks.

    It closes the permit when start is pressed and opens it at the planned end
    of the hold, whatever happens.
    """

    rig: Rig
    crew: Crew
    permit: bool = False

    def advance(self, fault: Fault | None = None, since_s: float = 0.0) -> None:
        if fault is not None:
            fault.act(self.rig, self.crew, since_s)
        rig, crew = self.rig, self.crew
        rig.advance()
        crew.advance(rig.now_s, rig.shown(), rig.controls)
        if rig.controls.pressed("start_button", rig.now_s):
            self.permit = True
        if crew.stage is Stage.HOLD and crew.in_stage_s(rig.now_s) >= crew.plan.hold_s:
            self.permit = False
        rig.relays.coils["heat_permit"] = self.permit
        rig.relays.heard()

    def due_at_s(self, onset: Onset) -> float:
        if onset.stage is None:
            return onset.after_s
        began_at_s = self.crew.began_at_s.get((onset.repair, onset.stage), math.inf)
        return began_at_s + onset.after_s


def _measurable(kind: type[Fault]) -> bool:
    """Its own `harmed` says more than that no plant can measure it."""
    return not issubclass(kind, Disturbance) and kind.harmed is not Fault.harmed


MEASURABLE = {name: kind for name, kind in catalogue().items() if _measurable(kind)}


# Those whose harm no plant can measure: what they do to the rig is looked at instead.
SEEN = {
    name: kind
    for name, kind in catalogue().items()
    if area_of(kind) in {"electric", "sensors"} and name not in MEASURABLE
}


@dataclass
class Healthy:
    """One run in which nothing breaks: as it was at each onset, and who was ever harmed in it."""

    at: dict[Onset, Bare] = field(default_factory=dict)
    harmed: set[str] = field(default_factory=set)


@cache
def _healthy(built: RigSettings) -> Healthy:
    healthy = Healthy()
    wanted = {kind.onset for kind in (*MEASURABLE.values(), *SEEN.values())}
    faults = {name: kind() for name, kind in MEASURABLE.items()}
    bare = Bare(Rig(built, 7), Crew((RepairPlan(),), Random(7)))  # noqa: S311 - repeatable, no secret
    while not bare.crew.at_home and bare.rig.now_s < 8 * 3600:
        for onset in [onset for onset in wanted if bare.rig.now_s >= bare.due_at_s(onset)]:
            healthy.at[onset] = copy.deepcopy(bare)
            wanted.discard(onset)
        bare.advance()
        if bare.rig.now_s % 10 == 0:
            healthy.harmed |= {
                name for name, fault in faults.items() if fault.harmed(bare.rig, bare.crew)
            }
    assert bare.crew.at_home, "the healthy run never ended"
    assert not wanted, f"no such onset in a whole repair: {wanted}"
    return healthy


@pytest.mark.parametrize("name", MEASURABLE)
def test_harm_is_not_before_the_deadline_and_not_long_after(name: str) -> None:
    fault = MEASURABLE[name]()
    deadline_s = fault.deadline_s(BUILT)
    bare = copy.deepcopy(_healthy(BUILT).at[fault.onset])
    limit_s = LATER_MAX * deadline_s
    harmed_s = _harmed_after_s(bare, fault, 6 * 3600.0 if name in LATER else limit_s)
    assert harmed_s is not None, f"{name}: no harm within {limit_s:.0f} s; it is no deadline"
    assert harmed_s >= deadline_s, f"{name}: harm after {harmed_s} s, said {deadline_s:.0f}"
    if name in LATER:
        assert harmed_s > limit_s, f"{name}: needs no reason any more; take it out of LATER"


@pytest.mark.parametrize("name", MEASURABLE)
def test_a_healthy_repair_harms_nobody(name: str) -> None:
    assert name not in _healthy(BUILT).harmed


@pytest.mark.parametrize("name", MEASURABLE)
def test_another_rig_has_another_deadline_and_no_harm_before_it(name: str) -> None:
    fault = MEASURABLE[name]()
    bare = copy.deepcopy(_healthy(OTHER).at[fault.onset])
    deadline_s = fault.deadline_s(OTHER)
    harmed_s = _harmed_after_s(bare, fault, min(deadline_s, 3600.0) - 1.0)
    assert harmed_s is None, f"{name}: harm after {harmed_s} s, said {deadline_s:.0f}"


def _harmed_after_s(bare: Bare, fault: Fault, limit_s: float) -> float | None:
    """Plant time from the onset until harm is done; None: not within the limit."""
    began_at_s = bare.rig.now_s
    while (since_s := bare.rig.now_s - began_at_s) <= limit_s:
        bare.advance(fault, since_s)
        if fault.harmed(bare.rig, bare.crew):
            return bare.rig.now_s - began_at_s
    return None


Look = Callable[[Rig], Any]


def _looked_at(name: str, look: Look, *, for_s: int = 120, permit: bool = True) -> list[Any]:
    """What `look` finds in each second after a fault has struck, the permit held as given."""
    fault = SEEN[name]()
    bare = copy.deepcopy(_healthy(BUILT).at[fault.onset])
    found: list[Any] = []
    for since_s in range(for_s):
        bare.permit = permit
        bare.advance(fault, float(since_s))
        found.append(look(bare.rig))
    return found


def _closed(rig: Rig) -> float:
    return rig.electrics.contactor_closed


@pytest.mark.parametrize("name", ["contactor_welds", "permit_contact_sticks_closed"])
def test_heat_that_cannot_be_taken_away(name: str) -> None:
    assert set(_looked_at(name, _closed, permit=False)) == {1.0}


def test_a_bridged_permit_heats_what_nobody_granted() -> None:
    heating = _looked_at("permit_bridged", lambda rig: rig.heat_on, permit=False)
    assert all(heating[60:])


def test_a_chattering_contactor_passes_part_of_the_time() -> None:
    passed = _looked_at("contactor_chatters", _closed)
    assert all(0 < share < 1 for share in passed[2:])


@pytest.mark.parametrize("name", ["horn_dead", "horn_contact_sticks_open"])
def test_a_horn_that_is_called_and_not_heard(name: str) -> None:
    def called(rig: Rig) -> tuple[bool, bool]:
        rig.relays.coils["horn"] = True
        return rig.relays.coils["horn"], rig.shown().lamps["horn"]

    assert set(_looked_at(name, called)) == {(True, False)}


def test_a_dip_drops_the_contactor_and_heat_comes_back_by_itself() -> None:
    closed = _looked_at("mains_dip", _closed)
    assert closed[0] == 0.0
    assert closed[-1] == 1.0


def test_a_brown_out_holds_the_contactor_without_a_compressor() -> None:
    found = _looked_at("brown_out", lambda rig: (rig.electrics.mains_ok, _closed(rig)))
    assert set(found) == {(False, 1.0)}


def test_a_loose_stop_wire_tells_now_and_then() -> None:
    assert set(_looked_at("estop_wire_chatters", lambda rig: rig.electrics.estop_ok)) == {
        True,
        False,
    }


def test_a_stop_in_vain_tells_and_stops_nothing() -> None:
    found = _looked_at("estop_in_vain", lambda rig: (rig.switches()["estop_ok"], _closed(rig)))
    assert set(found) == {(False, 1.0)}


def _pad(side: str) -> Look:
    return lambda rig: (rig.measured()[f"pad_{side}_c"], rig.pads[side].centre_c)


def _bag(side: str) -> Look:
    return lambda rig: (rig.measured()[f"bag_{side}_kpa"], rig.bags[side].pressure_kpa)


@pytest.mark.parametrize(
    ("name", "look"),
    [
        ("thermocouple_open", _pad("inner")),
        ("thermocouple_short", _pad("inner")),
        ("transmitter_dead", _bag("inner")),
    ],
)
def test_a_broken_instrument_shows_nothing(name: str, look: Look) -> None:
    assert {shown for shown, _ in _looked_at(name, look)} == {None}


@pytest.mark.parametrize(
    ("name", "look", "off_least", "off_most"),
    [
        ("thermocouple_jumping", _pad("inner"), 5.0, math.inf),
        ("thermocouple_noisy", _pad("inner"), 5.0, 100.0),
        ("thermocouple_reversed", _pad("inner"), 20.0, 200.0),
        ("thermocouple_detached", _pad("outer"), 50.0, 120.0),
        ("terminal_box_wrong", _pad("inner"), 10.0, 14.0),
        ("thermocouple_drifts", _pad("inner"), 3.0, 7.0),
        ("transmitter_drifts", _bag("outer"), 5.0, 15.0),
        ("transmitter_jumping", _bag("inner"), 5.0, math.inf),
    ],
)
def test_an_instrument_that_lies_is_off_by_so_much(
    name: str, look: Look, off_least: float, off_most: float
) -> None:
    course = _looked_at(name, look, for_s=600)
    off = max(abs(shown - true) for shown, true in course)
    assert off_least < off < off_most


def test_garbage_is_no_number_or_one_no_pad_can_have() -> None:
    shown = np.array(_looked_at("thermocouple_garbage", _pad("outer")), dtype=float)[:, 0]
    assert np.isnan(shown).any()
    assert (np.abs(shown[np.isfinite(shown)]) > 1000).all()


@pytest.mark.parametrize(
    ("name", "look"),
    [("thermocouple_frozen", _pad("outer")), ("transmitter_frozen", _bag("inner"))],
)
def test_a_frozen_instrument_stands_still_while_the_truth_moves(name: str, look: Look) -> None:
    course = np.array(_looked_at(name, look, for_s=600), dtype=float)
    assert len(set(course[:, 0])) == 1
    assert np.ptp(course[:, 1]) > 0


def test_an_iced_tap_hides_a_let_down() -> None:
    def let_down(rig: Rig) -> tuple[object, float]:
        rig.controls.valves["outer"].feed_open = False
        rig.controls.valves["outer"].exhaust_open = True
        return rig.measured()["bag_outer_kpa"], rig.bags["outer"].pressure_kpa

    shown, true = _looked_at("tap_iced", let_down)[-1]
    assert true < harm.PRESSED_KPA < 190 < shown


def test_all_of_them_were_looked_at() -> None:
    """Every fault of these areas is either measured or looked at by its name above."""
    text = Path(__file__).read_text()
    assert [name for name in SEEN if f'"{name}"' not in text] == []


@pytest.mark.parametrize(
    ("built", "later"),
    [
        (
            replace(BUILT, pad=replace(BUILT.pad, heat_capacity_j_k=36_000.0)),
            {
                "thermostat_stuck",
                "lead_broken",
                "heater_burnt_out",
                "mains_lost",
                "permit_bridged",
                "thermocouple_open",
                "module_silent",
            },
        ),
        (
            replace(BUILT, bag=replace(BUILT.bag, volume_l=40.0)),
            {"transmitter_dead", "hose_burst"},
        ),
    ],
)
def test_a_heavier_pad_or_a_larger_bag_gives_more_time(built: RigSettings, later: set[str]) -> None:
    faults = {name: kind() for name, kind in catalogue().items()}
    assert all(fault.deadline_s(built) >= fault.deadline_s(BUILT) for fault in faults.values())
    gained = {
        name for name, fault in faults.items() if fault.deadline_s(built) > fault.deadline_s(BUILT)
    }
    assert later <= gained
