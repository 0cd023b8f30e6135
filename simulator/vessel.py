"""A compliant volume of air after the first law: what flows in and out, and a warm wall."""

from dataclasses import dataclass
from math import sqrt

from simulator.gas import ATMOSPHERE_KPA, CP_J_MOL_K, CV_J_MOL_K, GAS_J_MOL_K, ZERO_C_K

# What all flows together may change the pressure by in one sub-step.
SUBSTEP_KPA = 1.0
SUBSTEPS_MAX = 500
LIMP_SHARE = 0.1  # a let-down bag still holds a little air


@dataclass(frozen=True, slots=True)
class VesselSettings:
    """What holds the air.

    Attributes:
        volume_l: when full at no pressure, litre.
        compliance_per_kpa: growth of the volume per kPa gauge, 1/kPa.
        gas_lag_s: how slowly the wall takes the warmth around it, s.
        wall_j_k: heat capacity of the wall that the gas touches, J/K.
        gas_wall_w_k: from gas to wall, W/K.
    """

    volume_l: float = 20.0
    compliance_per_kpa: float = 2e-4
    gas_lag_s: float = 300.0
    wall_j_k: float = 3000.0
    gas_wall_w_k: float = 8.0


class Vessel:
    """Air in a volume that grows with its pressure, and lies limp without any.

    The state is the amount of air and its content: inner energy plus all the work
    done on wall and atmosphere since the full volume without pressure (kPa times
    litre is J). Both change only by what flows; pressure and temperature follow.

    Attributes:
        amount_mol: air in it.
        gas_c: temperature of that air, °C.
        wall_c: temperature of the wall around it, °C.
        pressure_kpa: gauge; 0 while it lies limp.
        volume_l: now.
        fed_mol: come in since the start.
        gone_mol: gone out since the start, by any way.
        fed_j: enthalpy (from 0 K) that came in with it.
        gone_j: enthalpy that went out with it.
        warmed_j: heat from the wall into the gas since the start.
        drawn_j: heat from the surroundings into the wall since the start.
    """

    def __init__(self, held: VesselSettings, start_c: float) -> None:
        self._held = held
        self.gas_c = self.wall_c = start_c
        self.pressure_kpa = 0.0
        self.volume_l = LIMP_SHARE * held.volume_l
        self.fed_mol = self.gone_mol = 0.0
        self.fed_j = self.gone_j = self.warmed_j = self.drawn_j = 0.0
        self._corner_j = 2.5 * ATMOSPHERE_KPA * held.volume_l  # full, at no pressure
        self._content_j = self._corner_j + 3.5 * ATMOSPHERE_KPA * (self.volume_l - held.volume_l)
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
        held = self._held
        growth = held.compliance_per_kpa
        slope = 2.5 + 3.5 * growth * ATMOSPHERE_KPA
        over_j = held.volume_l * pressure_kpa * (slope + 3 * growth * pressure_kpa)
        self._content_j = self._corner_j + over_j
        self.pressure_kpa = pressure_kpa
        self.volume_l = held.volume_l * (1 + growth * pressure_kpa)
        self.amount_mol = self._amount_at_mol(self.gas_c)
        self.fed_mol += self.amount_mol - before_mol
        self.fed_j += self._content_j - before_j

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

    def _soon_kpa(self, dt_s: float, fed_mol: float, supply_c: float) -> float:
        """The gauge after a sub-step in which nothing went out; good near zero."""
        fed_j = CP_J_MOL_K * (supply_c + ZERO_C_K) * fed_mol
        over_j = self._content_j + fed_j + self._warmed_j(dt_s) - self._corner_j
        return max(0.0, over_j / (2.5 * self._held.volume_l))

    def _warmed_j(self, dt_s: float) -> float:
        """Heat from the wall in one sub-step.

        Implicit in the gas's own temperature: a limp bag's little air follows in
        less than a step.
        """
        wall_w_k = self._held.gas_wall_w_k
        lag = wall_w_k * dt_s / (CV_J_MOL_K * self.amount_mol)
        return wall_w_k * dt_s * (self.wall_c - self.gas_c) / (1 + lag)

    def _settle(self) -> None:
        """Pressure, volume and temperature from amount and content."""
        held = self._held
        over_j = self._content_j - self._corner_j
        if over_j <= 0:  # limp, at the atmosphere's pressure
            over_kpa = 0.0
            volume_l = held.volume_l + over_j / (3.5 * ATMOSPHERE_KPA)
        else:
            growth = held.compliance_per_kpa
            slope = 2.5 + 3.5 * growth * ATMOSPHERE_KPA
            over_kpa = over_j / held.volume_l
            over_kpa = 2 * over_kpa / (slope + sqrt(slope * slope + 12 * growth * over_kpa))
            volume_l = held.volume_l * (1 + growth * over_kpa)
        self.pressure_kpa = over_kpa
        self.volume_l = volume_l
        gas_k = (over_kpa + ATMOSPHERE_KPA) * volume_l / (GAS_J_MOL_K * self.amount_mol)
        self.gas_c = gas_k - ZERO_C_K

    def _amount_at_mol(self, gas_c: float) -> float:
        absolute_kpa = self.pressure_kpa + ATMOSPHERE_KPA
        return absolute_kpa * self.volume_l / (GAS_J_MOL_K * (gas_c + ZERO_C_K))

    def _substep_s(self, dt_s: float, flows_mol_s: float) -> float:
        volume_l = max(self.volume_l, self._held.volume_l)
        kpa_mol = GAS_J_MOL_K * (self.gas_c + ZERO_C_K) / volume_l
        return max(dt_s / SUBSTEPS_MAX, SUBSTEP_KPA / (kpa_mol * flows_mol_s))

    def _warm_wall(self, dt_s: float, around_c: float, gave_j: float) -> None:
        """The wall tends to what is around it; it gave the gas this much."""
        held = self._held
        drawn_c = (around_c - self.wall_c) * min(1.0, dt_s / held.gas_lag_s)
        self.drawn_j += drawn_c * held.wall_j_k
        self.wall_c += drawn_c - gave_j / held.wall_j_k
