"""Supply and regulators: compressor, receiver, line; refill, creep, droop, ice, drain."""

from dataclasses import replace
from itertools import pairwise

import pytest

from simulator.bags import AirMode, Bag, BagSettings, BagValves
from simulator.gas import ATMOSPHERE_KPA
from simulator.supply import Supply, SupplySettings

SET_KPA = 206.84  # 30 psi; 1 psi = 6.894757 kPa, NIST SP 811
SETTINGS = SupplySettings()


class Plant:
    """One bag on one supply."""

    def __init__(self, *, kpa=SET_KPA, mode=AirMode.RELIEVING, settings=None, air_c=20.0):
        self.bag = Bag(settings or BagSettings(), air_c)
        self.bag.fill_to(kpa)
        self.supply = Supply(SETTINGS, air_c)
        self.valves = BagValves(mode=mode, set_kpa=SET_KPA, feed_open=True)
        self.air_c = air_c
        self.mains = True

    def run(self, seconds):
        shown = []
        for _ in range(seconds):
            taken_mol = self.bag.advance(
                1.0,
                self.valves,
                supply_kpa=self.supply.pressure_kpa,
                around_c=self.air_c,
                supply_c=self.air_c,
                wet=self.supply.wet,
            )
            self.supply.advance(1.0, taken_mol, mains=self.mains, around_c=self.air_c)
            shown.append(self.bag.pressure_kpa)
        return shown


@pytest.mark.parametrize("mains", [True, False])
@pytest.mark.parametrize("compressor_ok", [True, False])
def test_the_compressor_refills_only_with_mains_and_when_it_can(mains, compressor_ok):
    supply = Supply(SETTINGS)
    supply.compressor_ok = compressor_ok
    supply.advance(1.0, 14.0, mains=mains)
    low_kpa = supply.pressure_kpa
    assert low_kpa < SETTINGS.cut_in_kpa
    for _ in range(600):
        supply.advance(1.0, 0.0, mains=mains)
    refills = mains and compressor_ok
    assert (supply.pressure_kpa > SETTINGS.cut_out_kpa - 5) is refills
    assert supply.compressing is False
    assert refills or supply.pressure_kpa == low_kpa


def test_the_compressor_runs_on_from_cut_in_to_cut_out():
    supply = Supply(SETTINGS)
    supply.other_use_mol_s = 0.06  # half of what the compressor delivers
    shown = []
    for _ in range(1200):
        supply.advance(1.0, 0.0, mains=True)
        shown.append((supply.pressure_kpa, supply.compressing))
    pressures = [kpa for kpa, _ in shown]
    assert min(pressures) == pytest.approx(SETTINGS.cut_in_kpa, abs=3.0)
    assert max(pressures[400:]) == pytest.approx(SETTINGS.cut_out_kpa, abs=3.0)
    changes = sum(one[1] is not other[1] for one, other in pairwise(shown))
    assert 4 <= changes <= 12


def test_what_the_supply_loses_is_what_was_taken():
    supply = Supply(SETTINGS)
    before_kpa = supply.pressure_kpa
    supply.advance(1.0, 1.0, mains=True)
    # ideal gas: dp = n R T / V = 8.314462618 * 293.15 / 152 kPa
    assert before_kpa - supply.pressure_kpa == pytest.approx(16.0354, abs=1e-3)
    assert ATMOSPHERE_KPA == 101.325  # standard atmosphere, ISO 2533


def test_a_cold_night_lowers_the_receiver_as_an_ideal_gas():
    supply = Supply(SETTINGS)
    for _ in range(20):
        supply.advance(900.0, 0.0, mains=False, around_c=-15.0)
    # ideal gas: (750 + 101.325) * 258.15 / 293.15 - 101.325
    assert supply.pressure_kpa == pytest.approx(648.36, abs=0.1)


def test_behind_a_shut_main_valve_only_the_line_goes_flat():
    supply = Supply(SETTINGS)
    supply.shut = True
    supply.leak_dm3_s_bar = 0.05
    for _ in range(300):
        supply.advance(1.0, 0.0, mains=True)
    assert supply.pressure_kpa < 1.0
    assert supply.receiver_kpa == pytest.approx(SETTINGS.cut_out_kpa)
    supply.leak_dm3_s_bar = 0.0
    supply.shut = False
    supply.advance(1.0, 0.0, mains=True)
    # one pressure again: (150 * 851.325 + 2 * 101.325) / 152 - 101.325
    assert supply.pressure_kpa == pytest.approx(740.13, abs=0.2)


@pytest.mark.parametrize("other_use_mol_s", [0.0, 50.0])
def test_nothing_is_taken_out_below_the_atmosphere(other_use_mol_s):
    supply = Supply(SETTINGS)
    supply.leak_dm3_s_bar = 20.0
    supply.other_use_mol_s = other_use_mol_s
    start_mol = supply.amount_mol
    for _ in range(600):
        supply.advance(1.0, 0.0, mains=False)
    assert supply.pressure_kpa == pytest.approx(0.0, abs=0.5)
    # what is left is air at the atmosphere's pressure: p V / (R T)
    left_mol = 101.325 * 152 / (8.314462618 * 293.15)
    assert supply.amount_mol == pytest.approx(left_mol, rel=5e-3)
    assert start_mol - supply.lost_mol == pytest.approx(supply.amount_mol, rel=1e-12)


def test_the_regulator_refills_a_leaking_bag_in_steps_one_can_see():
    plant = Plant()
    plant.bag.leak_dm3_s_bar = 0.001
    shown = plant.run(1800)[600:]
    settings = BagSettings()
    assert min(shown) == pytest.approx(SET_KPA - settings.reopens_below_kpa, abs=0.5)
    assert SET_KPA - 2.5 < max(shown) < SET_KPA - settings.closes_below_kpa
    rises = sum(kpa > before_kpa + 0.05 for before_kpa, kpa in pairwise(shown))
    assert 0 < rises < len(shown) / 10


def test_under_flow_it_delivers_less_than_its_knob_says():
    plant = Plant()
    plant.bag.leak_dm3_s_bar = 0.05
    small_kpa = plant.run(600)[-1]
    plant.bag.leak_dm3_s_bar = 0.08
    large_kpa = plant.run(600)[-1]
    assert SET_KPA - 3 > small_kpa > large_kpa + 1 > SET_KPA - 30


@pytest.mark.parametrize("mode", [AirMode.RELIEVING, AirMode.NON_RELIEVING])
@pytest.mark.parametrize("creep_kpa", [20.0, -20.0])
def test_creep_takes_the_bag_along_where_the_regulator_can(mode, creep_kpa):
    plant = Plant(mode=mode)
    for minute in range(40):
        plant.bag.set_offset_kpa = creep_kpa * (minute + 1) / 40
        plant.run(60)
    moved_kpa = plant.bag.pressure_kpa - SET_KPA
    if creep_kpa > 0:
        assert 15.0 < moved_kpa < 20.0
    elif mode is AirMode.RELIEVING:
        assert -20.0 < moved_kpa < -15.0
    else:
        assert moved_kpa == pytest.approx(0.0, abs=1e-6)  # it cannot vent


def test_what_the_bag_takes_the_receiver_gives():
    plant = Plant(kpa=0.0)
    before_mol = plant.bag.amount_mol
    plant.run(300)
    assert plant.supply.taken_mol == pytest.approx(plant.bag.amount_mol - before_mol, rel=1e-9)
    assert plant.supply.pressure_kpa < SETTINGS.cut_out_kpa - 15


def test_without_mains_the_regulator_holds_until_the_receiver_is_down():
    plant = Plant()
    plant.mains = False
    plant.bag.leak_dm3_s_bar = 0.005
    plant.supply.leak_dm3_s_bar = 0.1
    shown = []
    supplied = []
    for _ in range(120):
        shown.append(plant.run(30)[-1])
        supplied.append(plant.supply.pressure_kpa)
    assert not plant.supply.compressing
    for kpa, supply_kpa in zip(shown, supplied, strict=True):
        if supply_kpa > SET_KPA + 60:
            assert kpa > SET_KPA - 6
    assert supplied[-1] < SET_KPA
    assert shown[-1] < SET_KPA - 30


@pytest.mark.parametrize(
    ("mode", "holds", "drains"),
    [
        (AirMode.RELIEVING, False, True),
        (AirMode.RELIEVING, True, False),
        (AirMode.NON_RELIEVING, False, False),
        (AirMode.LOCKED_OFF, False, False),
    ],
)
def test_only_an_unchecked_relieving_regulator_drains_the_bag_backwards(mode, holds, drains):
    plant = Plant(mode=mode, settings=replace(BagSettings(), holds_without_supply=holds))
    plant.mains = False
    plant.supply.leak_dm3_s_bar = 5.0
    plant.run(900)
    assert plant.supply.pressure_kpa < 5.0
    assert (plant.bag.pressure_kpa < 20.0) is drains
    assert drains or plant.bag.pressure_kpa == pytest.approx(SET_KPA, abs=1e-6)
    # what went back is the supply's again, to the last trace
    gone_mol = plant.bag.gone_mol
    assert plant.supply.taken_mol == pytest.approx(-gone_mol, abs=1e-9)


def test_a_shut_lock_off_valve_saves_the_bag_from_draining():
    plant = Plant()
    plant.valves.feed_open = False
    plant.supply.leak_dm3_s_bar = 5.0
    plant.mains = False
    plant.run(900)
    assert plant.bag.pressure_kpa == pytest.approx(SET_KPA, abs=1e-6)


@pytest.mark.parametrize(
    ("wet", "air_c", "ices"),
    [(True, -10.0, True), (True, 20.0, False), (False, -10.0, False)],
)
def test_only_wet_air_in_the_cold_ices_the_regulator(wet, air_c, ices):
    plant = Plant(kpa=0.0, air_c=air_c)
    plant.supply.wet = wet
    plant.run(180)
    assert (plant.bag.ice_share > 0.3) is ices
    assert ices or plant.bag.ice_share == 0.0
    assert (plant.bag.pressure_kpa < 175.0) is ices


def test_ice_takes_minutes_stays_in_the_cold_and_thaws_in_the_warm():
    plant = Plant(kpa=0.0, air_c=-5.0)
    plant.supply.wet = True
    plant.run(20)
    assert plant.bag.ice_share < 0.15
    plant.run(280)
    iced = plant.bag.ice_share
    assert 0.5 < iced < 1.0
    plant.valves.feed_open = False
    plant.run(1800)
    assert plant.bag.ice_share == iced
    plant.air_c = 5.0
    plant.run(1500)
    assert plant.bag.ice_share == 0.0
    plant.valves.feed_open = True
    plant.run(240)
    assert plant.bag.pressure_kpa > SET_KPA - 4


def test_an_iced_regulator_does_not_make_up_for_a_leak():
    shown = {}
    for wet in (False, True):
        plant = Plant(kpa=150.0, air_c=-12.0)
        plant.supply.wet = wet
        plant.bag.leak_dm3_s_bar = 0.03
        shown[wet] = plant.run(3000)[-1]
    assert shown[False] > SET_KPA - 10
    assert shown[True] < 120.0


@pytest.mark.parametrize(("still_wet", "grows"), [(True, True), (False, False)])
def test_ice_grows_only_while_the_air_is_still_wet(still_wet, grows):
    plant = Plant(kpa=0.0, air_c=-10.0)
    plant.supply.wet = True
    plant.run(60)
    iced = plant.bag.ice_share
    plant.supply.wet = still_wet
    plant.run(60)
    assert (plant.bag.ice_share > iced) is grows
    assert plant.bag.ice_share >= iced > 0.0
