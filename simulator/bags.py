"""Air: bags of ideal gas, the regulators that feed them, the supply behind.

Flow through every restriction follows ISO 6358 (sonic conductance C in
dm³/(s bar) at 20 °C and 100 kPa, critical pressure ratio b), from memory. The
gas takes a share of its pad's warmth with a lag; fast changes are treated as
isothermal, so a burst cools nothing here. The figures of the hardware are
invented and of a plausible size.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

from simulator.gas import ATMOSPHERE_KPA, GAS_J_MOL_K, ZERO_C_K, flow_mol_s
from simulator.supply import Supply, SupplySettings

__all__ = [
    "ATMOSPHERE_KPA",
    "GAS_J_MOL_K",
    "ZERO_C_K",
    "AirMode",
    "Bag",
    "BagSettings",
    "BagValves",
    "Supply",
    "SupplySettings",
    "flow_mol_s",
]


class AirMode(StrEnum):
    """How a bag is held at pressure; locked off, the crew shuts the feed once it is up."""

    RELIEVING = "relieving"
    NON_RELIEVING = "non_relieving"
    LOCKED_OFF = "locked_off"


@dataclass(frozen=True, slots=True)
class BagSettings:
    """One bag and its hose, regulator and valves.

    Attributes:
        volume_l: when full at no pressure, litre.
        compliance_per_kpa: growth of the volume per kPa gauge, 1/kPa.
        gas_share: share of the pad's warmth above ambient that the gas takes.
        gas_lag_s: how slowly it takes it, s.
        feed_dm3_s_bar: regulator and hose, wide open.
        relief_dm3_s_bar: the relieving regulator's vent, wide open.
        relief_margin_kpa: it vents from this far above its set point.
        band_kpa: the regulator opens fully this far from its set point.
        exhaust_dm3_s_bar: the exhaust valve with its silencer.
        holds_without_supply: a check keeps a relieving regulator from draining the
            bag backwards once its supply has gone.
    """

    volume_l: float = 20.0
    compliance_per_kpa: float = 2e-4
    gas_share: float = 0.45
    gas_lag_s: float = 300.0
    feed_dm3_s_bar: float = 0.04
    relief_dm3_s_bar: float = 0.05
    relief_margin_kpa: float = 2.0
    band_kpa: float = 5.0
    exhaust_dm3_s_bar: float = 0.05
    holds_without_supply: bool = False


@dataclass(slots=True)
class BagValves:
    """What hands have set on one bag.

    Attributes:
        mode: the kind of regulator, or locked off.
        set_kpa: the regulator's knob, gauge.
        feed_open: the valve between regulator and bag.
        exhaust_open: the exhaust valve.
    """

    mode: AirMode = AirMode.RELIEVING
    set_kpa: float = 0.0
    feed_open: bool = False
    exhaust_open: bool = False


class Bag:
    """A compliant volume of air.

    Attributes:
        amount_mol: air in it.
        gas_c: temperature of that air, °C.
        pressure_kpa: gauge; 0 while it lies limp.
        fed_mol: come in since the start.
        gone_mol: gone out since the start, by any way.
        leak_dm3_s_bar: a leak of the bag itself.
        hole_dm3_s_bar: a burst.
        feed_cut: the hose is off or its coupling has shut itself.
        feed_share: of the hose's conductance that is left; kinked or frozen: 0.
        exhaust_share: of the exhaust's that is left; silencer blocked or iced.
        relief_share: of the relieving vent's that is left; stuck: 0.
        set_offset_kpa: the regulator delivers this much beside its knob (creep).
        ice_share: of the regulator's passage that is blocked by ice.
    """

    def __init__(self, settings: BagSettings, start_c: float) -> None:
        self.settings = settings
        self.gas_c = start_c
        # A let-down bag still holds a little air.
        self.amount_mol = 0.1 * self._full_mol()
        self.pressure_kpa = 0.0
        self.fed_mol = 0.0
        self.gone_mol = 0.0
        self.leak_dm3_s_bar = 0.0
        self.hole_dm3_s_bar = 0.0
        self.feed_cut = False
        self.feed_share = 1.0
        self.exhaust_share = 1.0
        self.relief_share = 1.0
        self.set_offset_kpa = 0.0
        self.ice_share = 0.0

    def fill_to(self, pressure_kpa: float) -> None:
        """Put in or take out air until the gauge shows `pressure_kpa`, not below 0."""
        stretch = 1 + self.settings.compliance_per_kpa * pressure_kpa
        before_mol = self.amount_mol
        self.amount_mol = self._full_mol() * (1 + pressure_kpa / ATMOSPHERE_KPA) * stretch
        self.fed_mol += self.amount_mol - before_mol
        self.pressure_kpa = pressure_kpa

    def advance(
        self,
        dt_s: float,
        valves: BagValves,
        *,
        supply_kpa: float,
        around_c: float,
        supply_c: float = 20.0,
        wet: bool = False,
    ) -> float:
        """One step.

        Args:
            dt_s: step, s; up to 1.
            valves: as hands have set them.
            supply_kpa: ahead of the regulator, gauge.
            around_c: temperature the gas tends to, °C.
            supply_c: of the air ahead of the regulator, °C.
            wet: that air carries water.

        Returns:
            Air taken from the supply in this step, mol.
        """
        self.gas_c += (around_c - self.gas_c) * min(1.0, dt_s / self.settings.gas_lag_s)
        fed_mol = self._feed_mol_s(valves, supply_kpa) * dt_s
        # Air goes out until the gauge shows zero, not into a vacuum.
        spare_mol = max(0.0, self.amount_mol + fed_mol - self._full_mol())
        gone_mol = min(spare_mol, self._out_mol_s(valves) * dt_s)
        self.amount_mol += fed_mol - gone_mol
        self.fed_mol += fed_mol
        self.gone_mol += gone_mol
        self.pressure_kpa = self._gauge_kpa()
        return fed_mol

    def _connected(self, valves: BagValves) -> bool:
        return valves.feed_open and not self.feed_cut

    def _feed_mol_s(self, valves: BagValves, supply_kpa: float) -> float:
        short_kpa = valves.set_kpa + self.set_offset_kpa - self.pressure_kpa
        if not self._connected(valves) or short_kpa <= 0:
            return 0.0
        opening = min(1.0, short_kpa / self.settings.band_kpa)
        return opening * flow_mol_s(
            self.settings.feed_dm3_s_bar,
            supply_kpa + ATMOSPHERE_KPA,
            self.pressure_kpa + ATMOSPHERE_KPA,
        )

    def _out_mol_s(self, valves: BagValves) -> float:
        openings = self.leak_dm3_s_bar + self.hole_dm3_s_bar + self._vent_dm3_s_bar(valves)
        if valves.exhaust_open:
            openings += self.settings.exhaust_dm3_s_bar
        return flow_mol_s(openings, self.pressure_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA)

    def _vent_dm3_s_bar(self, valves: BagValves) -> float:
        if valves.mode is not AirMode.RELIEVING or not self._connected(valves):
            return 0.0
        over_kpa = self.pressure_kpa - valves.set_kpa - self.set_offset_kpa
        over_kpa -= self.settings.relief_margin_kpa
        share = min(1.0, max(0.0, over_kpa / self.settings.band_kpa))
        return share * self.settings.relief_dm3_s_bar

    def _full_mol(self) -> float:
        volume_m3 = self.settings.volume_l / 1000
        return ATMOSPHERE_KPA * 1000 * volume_m3 / (GAS_J_MOL_K * (self.gas_c + ZERO_C_K))

    def _gauge_kpa(self) -> float:
        """Gauge pressure of the ideal gas in a volume that grows with it."""
        rigid_kpa = ATMOSPHERE_KPA * self.amount_mol / self._full_mol()
        over_kpa = rigid_kpa - ATMOSPHERE_KPA
        growth = self.settings.compliance_per_kpa
        if over_kpa <= 0:
            return 0.0
        if growth == 0:
            return over_kpa
        slope = 1 + growth * ATMOSPHERE_KPA
        return (sqrt(slope**2 + 4 * growth * over_kpa) - slope) / (2 * growth)
