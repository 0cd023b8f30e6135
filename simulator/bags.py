"""Air: bags of ideal gas with the regulators, hoses and valves that feed them.

A bag is an open system after the first law: filling heats its gas, a burst
cools it, and the wall takes the difference back within seconds. The wall
itself follows its surroundings in minutes; so does the pressure of a bag that
nobody touches. The hardware's figures are invented and of a plausible size.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

from simulator.gas import (
    ATMOSPHERE_KPA,
    CP_J_MOL_K,
    CRITICAL_RATIO,
    CV_J_MOL_K,
    GAS_J_MOL_K,
    REFERENCE_MOL_M3,
    ZERO_C_K,
    flow_mol_s,
    in_series,
)
from simulator.supply import Supply, SupplySettings

__all__ = [
    "ATMOSPHERE_KPA",
    "CRITICAL_RATIO",
    "GAS_J_MOL_K",
    "REFERENCE_MOL_M3",
    "ZERO_C_K",
    "AirMode",
    "Bag",
    "BagSettings",
    "BagValves",
    "Supply",
    "SupplySettings",
    "flow_mol_s",
]

# What all flows together may change the pressure by in one sub-step.
SUBSTEP_KPA = 1.0
# Below this, what a sub-step adds goes out in the same sub-step, or the gauge would flutter.
NEARLY_EMPTY_KPA = 5.0
SUBSTEPS_MAX = 500
# The vent's seat is shut again this close to its margin.
VENT_SHUTS_KPA = 0.05
# A spring holds the regulator's seat against this much from behind.
SEAT_SPRING_KPA = 10.0
SHUT_SHARE = 1e-3  # a hose kinked to less than this is shut
LIMP_SHARE = 0.1  # a let-down bag still holds a little air

# Far below choking, ISO 6358 makes the drop along a hose go with the flow's square:
# drop / p = (1 - b) / 2 * (flow / choked flow)².
_HOSE_DROP = (1 - CRITICAL_RATIO) / 2 / (1e-5 * REFERENCE_MOL_M3) ** 2

ICES_BELOW_C = 3.0
# Per bar of drop; several times what throttling alone takes (Joule and Thomson: about
# 0.2 K), because the jet chills the seat before it comes to rest.
CHILL_C_BAR = 1.5
ICE_S_C = 3600.0  # blocked by this many seconds times °C below
THAW_S_C = 6000.0


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
        gas_share: share of the pad's warmth above ambient that wall and gas take.
        gas_lag_s: how slowly the wall takes it, s.
        wall_j_k: heat capacity of the wall that the gas touches, J/K.
        gas_wall_w_k: from gas to wall, W/K.
        feed_dm3_s_bar: the regulator, wide open.
        hose_dm3_s_bar: between regulator and bag; the gauge sits at the bag.
        relief_dm3_s_bar: the relieving regulator's vent, wide open.
        relief_margin_kpa: it vents from this far above its set point.
        band_kpa: the regulator opens fully this far below its set point, and its
            vent this far above the margin.
        closes_below_kpa: its seat snaps shut when this little is missing.
        reopens_below_kpa: and opens again only when this much is.
        exhaust_dm3_s_bar: the exhaust valve with its silencer, at the bag.
        holds_without_supply: a check keeps a relieving regulator from draining the
            bag backwards once its supply has gone; the other modes always hold.
    """

    volume_l: float = 20.0
    compliance_per_kpa: float = 2e-4
    gas_share: float = 0.45
    gas_lag_s: float = 300.0
    wall_j_k: float = 3000.0
    gas_wall_w_k: float = 8.0
    feed_dm3_s_bar: float = 0.04
    hose_dm3_s_bar: float = 0.3
    relief_dm3_s_bar: float = 0.05
    relief_margin_kpa: float = 2.0
    band_kpa: float = 5.0
    closes_below_kpa: float = 1.0
    reopens_below_kpa: float = 3.0
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

    The state is the amount of air and its content: inner energy plus all the work
    done on bag and atmosphere since the full bag without pressure (kPa times litre
    is J). Both change only by what flows; pressure and temperature follow.

    Attributes:
        amount_mol: air in it.
        gas_c: temperature of that air, °C.
        wall_c: temperature of the wall around it, °C.
        pressure_kpa: gauge, at the bag; 0 while it lies limp.
        volume_l: now.
        regulator_open: the regulator's seat is off.
        ice_share: of the regulator's passage that is blocked by ice.
        fed_mol: come in since the start.
        gone_mol: gone out since the start, by any way.
        fed_j: enthalpy (from 0 K) that came in with it.
        gone_j: enthalpy that went out with it.
        warmed_j: heat from the wall into the gas since the start.
        drawn_j: heat from the surroundings into the wall since the start.
        leak_dm3_s_bar: a leak of the bag itself.
        hole_dm3_s_bar: a burst.
        feed_cut: the hose is off or its coupling has shut itself.
        feed_share: of the hose that is left, both ways; kinked or frozen: 0.
        exhaust_share: of the exhaust that is left; silencer blocked or iced.
        relief_share: of the relieving vent that is left; stuck: 0.
        set_offset_kpa: the regulator delivers this much beside its knob (creep).
    """

    def __init__(self, settings: BagSettings, start_c: float) -> None:
        self.settings = settings
        self.gas_c = self.wall_c = start_c
        self.amount_mol = 0.0
        self.pressure_kpa = 0.0
        self.volume_l = LIMP_SHARE * settings.volume_l
        self.regulator_open = False
        self.ice_share = 0.0
        self.fed_mol = self.gone_mol = 0.0
        self.fed_j = self.gone_j = self.warmed_j = self.drawn_j = 0.0
        self.leak_dm3_s_bar = 0.0
        self.hole_dm3_s_bar = 0.0
        self.feed_cut = False
        self.feed_share = 1.0
        self.exhaust_share = 1.0
        self.relief_share = 1.0
        self.set_offset_kpa = 0.0
        self._opening = 0.0
        self._corner_j = 2.5 * ATMOSPHERE_KPA * settings.volume_l  # full, at no pressure
        self._content_j = self._corner_j + 3.5 * ATMOSPHERE_KPA * (
            self.volume_l - settings.volume_l
        )
        self.amount_mol = self._amount_at_mol(start_c)

    @property
    def brode_j(self) -> float:
        """Stored energy after Brode, p V / (gamma - 1) with the gauge pressure, J."""
        return 2.5 * self.pressure_kpa * self.volume_l

    @property
    def isentropic_j(self) -> float:
        """Work the gas would do on its way to the atmosphere's pressure at once, J."""
        absolute_kpa = self.pressure_kpa + ATMOSPHERE_KPA
        left: float = (ATMOSPHERE_KPA / absolute_kpa) ** (GAS_J_MOL_K / CP_J_MOL_K)
        return 2.5 * absolute_kpa * self.volume_l * (1 - left)

    def fill_to(self, pressure_kpa: float) -> None:
        """Put in or take out air of the gas's own warmth until the gauge shows this, from 0 up."""
        before_mol, before_j = self.amount_mol, self._content_j
        settings = self.settings
        growth = settings.compliance_per_kpa
        slope = 2.5 + 3.5 * growth * ATMOSPHERE_KPA
        over_j = settings.volume_l * pressure_kpa * (slope + 3 * growth * pressure_kpa)
        self._content_j = self._corner_j + over_j
        self.pressure_kpa = pressure_kpa
        self.volume_l = settings.volume_l * (1 + growth * pressure_kpa)
        self.amount_mol = self._amount_at_mol(self.gas_c)
        self.fed_mol += self.amount_mol - before_mol
        self.fed_j += self._content_j - before_j

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
        """One step, in as many sub-steps as the flows ask for.

        Args:
            dt_s: step, s; about 1.
            valves: as hands have set them.
            supply_kpa: in the line ahead of the regulator, gauge.
            around_c: temperature the wall tends to, °C.
            supply_c: of the air in that line, °C.
            wet: that air carries water.

        Returns:
            Air taken from the line in this step, mol; below 0 when the bag drained
            back into it.
        """
        settings = self.settings
        warmed_before_j = self.warmed_j
        taken_mol = 0.0
        left_s = dt_s
        while left_s > 0:
            fed_mol_s = self._feed_mol_s(valves, supply_kpa)
            back_mol_s = self._back_mol_s(valves, supply_kpa)
            openings = self._openings_dm3_s_bar(valves)
            gone_mol_s = back_mol_s
            if openings:
                gone_mol_s += self._out_mol_s(openings, self.pressure_kpa)
            step_s = left_s
            if fed_mol_s or gone_mol_s:
                step_s = min(left_s, self._substep_s(dt_s, fed_mol_s + gone_mol_s))
            if openings and self.pressure_kpa < NEARLY_EMPTY_KPA:
                soon_kpa = self._soon_kpa(step_s, fed_mol_s * step_s, supply_c)
                gone_mol_s = back_mol_s + self._out_mol_s(openings, soon_kpa)
            self._move(step_s, fed_mol_s * step_s, gone_mol_s * step_s, supply_c)
            taken_mol += (fed_mol_s - back_mol_s) * step_s
            left_s -= step_s
        if wet or self.ice_share:
            self._freeze(dt_s, supply_kpa, supply_c, wet=wet)
        drawn_c = (around_c - self.wall_c) * min(1.0, dt_s / settings.gas_lag_s)
        self.drawn_j += drawn_c * settings.wall_j_k
        self.wall_c += drawn_c - (self.warmed_j - warmed_before_j) / settings.wall_j_k
        return taken_mol

    def _move(self, dt_s: float, fed_mol: float, gone_mol: float, supply_c: float) -> None:
        """One sub-step's balance."""
        gas_k = self.gas_c + ZERO_C_K
        warmed_j = self._warmed_j(dt_s)
        content_j = self._content_j + warmed_j
        if fed_mol:
            fed_j = CP_J_MOL_K * (supply_c + ZERO_C_K) * fed_mol
            content_j += fed_j
            self.fed_mol += fed_mol
            self.fed_j += fed_j
        if gone_mol:
            # Air goes out until the gauge shows zero, not into a vacuum.
            spare_j = max(0.0, content_j - self._corner_j)
            gone_j = min(spare_j, CP_J_MOL_K * gas_k * gone_mol)
            gone_mol = gone_j / (CP_J_MOL_K * gas_k)
            content_j -= gone_j
            self.gone_mol += gone_mol
            self.gone_j += gone_j
        self.amount_mol += fed_mol - gone_mol
        self.warmed_j += warmed_j
        self._content_j = content_j
        self._settle()

    def _warmed_j(self, dt_s: float) -> float:
        """Heat from the wall in one sub-step.

        Implicit in the gas's own temperature: a limp bag's little air follows in
        less than a step.
        """
        wall_w_k = self.settings.gas_wall_w_k
        lag = wall_w_k * dt_s / (CV_J_MOL_K * self.amount_mol)
        return wall_w_k * dt_s * (self.wall_c - self.gas_c) / (1 + lag)

    def _settle(self) -> None:
        """Pressure, volume and temperature from amount and content."""
        settings = self.settings
        over_j = self._content_j - self._corner_j
        if over_j <= 0:  # limp, at the atmosphere's pressure
            over_kpa = 0.0
            volume_l = settings.volume_l + over_j / (3.5 * ATMOSPHERE_KPA)
        else:
            growth = settings.compliance_per_kpa
            slope = 2.5 + 3.5 * growth * ATMOSPHERE_KPA
            over_kpa = over_j / settings.volume_l
            over_kpa = 2 * over_kpa / (slope + sqrt(slope * slope + 12 * growth * over_kpa))
            volume_l = settings.volume_l * (1 + growth * over_kpa)
        self.pressure_kpa = over_kpa
        self.volume_l = volume_l
        gas_k = (over_kpa + ATMOSPHERE_KPA) * volume_l / (GAS_J_MOL_K * self.amount_mol)
        self.gas_c = gas_k - ZERO_C_K

    def _amount_at_mol(self, gas_c: float) -> float:
        absolute_kpa = self.pressure_kpa + ATMOSPHERE_KPA
        return absolute_kpa * self.volume_l / (GAS_J_MOL_K * (gas_c + ZERO_C_K))

    def _substep_s(self, dt_s: float, flows_mol_s: float) -> float:
        volume_l = max(self.volume_l, self.settings.volume_l)
        kpa_mol = GAS_J_MOL_K * (self.gas_c + ZERO_C_K) / volume_l
        return max(dt_s / SUBSTEPS_MAX, SUBSTEP_KPA / (kpa_mol * flows_mol_s))

    def _connected(self, valves: BagValves) -> bool:
        return valves.feed_open and not self.feed_cut and self.feed_share > SHUT_SHARE

    def _feed_mol_s(self, valves: BagValves, supply_kpa: float) -> float:
        """The regulator: it senses its own outlet, ahead of the hose."""
        settings = self.settings
        self._opening = 0.0
        if not self._connected(valves):
            self.regulator_open = False
            return 0.0
        short_kpa = valves.set_kpa + self.set_offset_kpa - self.pressure_kpa
        if not self.regulator_open and short_kpa < settings.reopens_below_kpa:
            return 0.0
        absolute_kpa = self.pressure_kpa + ATMOSPHERE_KPA
        hose_dm3_s_bar = settings.hose_dm3_s_bar * self.feed_share
        passage_dm3_s_bar = in_series(
            settings.feed_dm3_s_bar * (1 - self.ice_share), hose_dm3_s_bar
        )
        wide_mol_s = flow_mol_s(passage_dm3_s_bar, supply_kpa + ATMOSPHERE_KPA, absolute_kpa)
        # Opening o and drop along the hose together: short - drop o² = band o.
        drop_kpa = _HOSE_DROP * (wide_mol_s / hose_dm3_s_bar) ** 2 / absolute_kpa
        band_kpa = settings.band_kpa
        root = sqrt(band_kpa * band_kpa + 4 * drop_kpa * max(0.0, short_kpa))
        opening = 2 * short_kpa / (band_kpa + root)
        self.regulator_open = opening * band_kpa > settings.closes_below_kpa
        if not self.regulator_open:
            return 0.0
        self._opening = min(1.0, opening)
        return self._opening * wide_mol_s

    def _back_mol_s(self, valves: BagValves, supply_kpa: float) -> float:
        """Air that drains through an unchecked relieving regulator whose supply has gone."""
        settings = self.settings
        if supply_kpa > self.pressure_kpa - SEAT_SPRING_KPA or settings.holds_without_supply:
            return 0.0
        if valves.mode is not AirMode.RELIEVING or not self._connected(valves):
            return 0.0
        passage_dm3_s_bar = in_series(
            settings.feed_dm3_s_bar * (1 - self.ice_share),
            settings.hose_dm3_s_bar * self.feed_share,
        )
        return flow_mol_s(
            passage_dm3_s_bar, self.pressure_kpa + ATMOSPHERE_KPA, supply_kpa + ATMOSPHERE_KPA
        )

    def _openings_dm3_s_bar(self, valves: BagValves) -> float:
        """All that is open from the bag to the atmosphere."""
        openings = self.leak_dm3_s_bar + self.hole_dm3_s_bar + self._vent_dm3_s_bar(valves)
        if valves.exhaust_open:
            openings += self.settings.exhaust_dm3_s_bar * self.exhaust_share
        return openings

    def _out_mol_s(self, openings_dm3_s_bar: float, gauge_kpa: float) -> float:
        return flow_mol_s(openings_dm3_s_bar, gauge_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA)

    def _soon_kpa(self, dt_s: float, fed_mol: float, supply_c: float) -> float:
        """The gauge after a sub-step in which nothing went out; good near zero."""
        fed_j = CP_J_MOL_K * (supply_c + ZERO_C_K) * fed_mol
        over_j = self._content_j + fed_j + self._warmed_j(dt_s) - self._corner_j
        return max(0.0, over_j / (2.5 * self.settings.volume_l))

    def _vent_dm3_s_bar(self, valves: BagValves) -> float:
        """The relieving regulator's vent, behind the hose."""
        if valves.mode is not AirMode.RELIEVING or not self._connected(valves):
            return 0.0
        settings = self.settings
        over_kpa = self.pressure_kpa - valves.set_kpa - self.set_offset_kpa
        over_kpa -= settings.relief_margin_kpa
        if over_kpa <= VENT_SHUTS_KPA:
            return 0.0
        vent_dm3_s_bar = settings.relief_dm3_s_bar * min(1.0, over_kpa / settings.band_kpa)
        return in_series(
            vent_dm3_s_bar * self.relief_share, settings.hose_dm3_s_bar * self.feed_share
        )

    def _freeze(self, dt_s: float, supply_kpa: float, supply_c: float, *, wet: bool) -> None:
        """Ice grows on the seat while wet air rushes through it in the cold; warmth thaws it."""
        passing = self._opening * (1 - self.ice_share)
        drop_bar = max(0.0, supply_kpa - self.pressure_kpa) / 100
        seat_c = supply_c - CHILL_C_BAR * drop_bar * passing
        change = 0.0
        if wet and passing > 0 and seat_c < ICES_BELOW_C:
            change = (ICES_BELOW_C - seat_c) / ICE_S_C * passing
        elif seat_c > 0:
            change = -seat_c / THAW_S_C
        self.ice_share = min(1.0, max(0.0, self.ice_share + change * dt_s))
