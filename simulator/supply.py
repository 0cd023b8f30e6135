"""The air supply: a compressor, its receiver, the main valve and the line behind it.

The air takes the temperature of its surroundings slowly; what the compressor
adds has been cooled. Figures invented and of a plausible size.
"""

from dataclasses import dataclass

from simulator.gas import ATMOSPHERE_KPA, GAS_J_MOL_K, ZERO_C_K, flow_mol_s


@dataclass(frozen=True, slots=True)
class SupplySettings:
    """The compressor, its receiver and its line.

    Attributes:
        receiver_l: litre.
        line_l: hoses and pipes behind the main valve, litre.
        cut_in_kpa: the compressor starts below, gauge, at the receiver.
        cut_out_kpa: and stops above.
        delivery_mol_s: of the compressor.
        lag_s: how slowly the air takes the temperature around, s.
    """

    receiver_l: float = 150.0
    line_l: float = 2.0
    cut_in_kpa: float = 600.0
    cut_out_kpa: float = 750.0
    delivery_mol_s: float = 0.12
    lag_s: float = 1800.0


class Supply:
    """The air supply; the compressor dies with the mains.

    Attributes:
        pressure_kpa: in the line at the regulators, gauge.
        receiver_kpa: in the receiver, gauge; the same while the main valve is open.
        compressing: the compressor runs.
        air_c: temperature of all of the air, °C.
        compressor_ok: it can run.
        shut: someone has shut the main valve; the compressor fills the receiver only.
        leak_dm3_s_bar: of the line.
        other_use_mol_s: a neighbour's tool takes this from the line.
        wet: the air carries water, which ices a cold regulator.
        made_mol: by the compressor, since the start.
        taken_mol: by the bags, since the start; less what flowed back.
        lost_mol: by leak and neighbour, since the start.
    """

    def __init__(self, settings: SupplySettings, start_c: float = 20.0) -> None:
        self.settings = settings
        self.air_c = start_c
        self.pressure_kpa = self.receiver_kpa = settings.cut_out_kpa
        self.compressing = False
        self.compressor_ok = True
        self.shut = False
        self.leak_dm3_s_bar = 0.0
        self.other_use_mol_s = 0.0
        self.wet = False
        self.made_mol = 0.0
        self.taken_mol = 0.0
        self.lost_mol = 0.0
        self._receiver_mol = self._held_mol(settings.receiver_l, settings.cut_out_kpa)
        self._line_mol = self._held_mol(settings.line_l, settings.cut_out_kpa)

    @property
    def amount_mol(self) -> float:
        """Air in receiver and line."""
        return self._receiver_mol + self._line_mol

    def advance(
        self, dt_s: float, taken_mol: float, *, mains: bool, around_c: float = 20.0
    ) -> None:
        """One step.

        Args:
            dt_s: step, s; about 1.
            taken_mol: by the bags in this step; below 0 when they gave some back.
            mains: enough of them for the compressor.
            around_c: the air around, °C.
        """
        self.air_c += (around_c - self.air_c) * min(1.0, dt_s / self.settings.lag_s)
        made_mol = self._made_mol(dt_s, mains=mains)
        lost_mol = self._lost_mol(dt_s, taken_mol)
        self.made_mol += made_mol
        self.taken_mol += taken_mol
        self.lost_mol += lost_mol
        self._receiver_mol += made_mol
        self._line_mol -= taken_mol + lost_mol
        if not self.shut:
            self._level()
        # A bag that takes the last of a short line in one step may overdraw it by a
        # trace; the gauge then shows empty until that is made up.
        self.receiver_kpa = self._gauge_kpa(self._receiver_mol, self.settings.receiver_l)
        self.pressure_kpa = self._gauge_kpa(self._line_mol, self.settings.line_l)

    def _made_mol(self, dt_s: float, *, mains: bool) -> float:
        if self.receiver_kpa < self.settings.cut_in_kpa:
            self.compressing = True
        if self.receiver_kpa > self.settings.cut_out_kpa or not (mains and self.compressor_ok):
            self.compressing = False
        return self.settings.delivery_mol_s * dt_s if self.compressing else 0.0

    def _lost_mol(self, dt_s: float, taken_mol: float) -> float:
        """What leak and neighbour take in one step, down to the atmosphere's pressure."""
        if not self.leak_dm3_s_bar and not self.other_use_mol_s:
            return 0.0
        line_l = self.settings.line_l
        spare_mol = self._line_mol - taken_mol - self._held_mol(line_l, 0.0)
        if not self.shut:
            receiver_l = self.settings.receiver_l
            spare_mol += self._receiver_mol - self._held_mol(receiver_l, 0.0)
        leak_mol_s = flow_mol_s(
            self.leak_dm3_s_bar, self.pressure_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA
        )
        return max(0.0, min(spare_mol, (leak_mol_s + self.other_use_mol_s) * dt_s))

    def _level(self) -> None:
        """The main valve is open: one pressure throughout."""
        settings = self.settings
        amount_mol = self._receiver_mol + self._line_mol
        self._line_mol = amount_mol * settings.line_l / (settings.receiver_l + settings.line_l)
        self._receiver_mol = amount_mol - self._line_mol

    def _held_mol(self, volume_l: float, gauge_kpa: float) -> float:
        return (gauge_kpa + ATMOSPHERE_KPA) * volume_l / (GAS_J_MOL_K * (self.air_c + ZERO_C_K))

    def _gauge_kpa(self, amount_mol: float, volume_l: float) -> float:
        kpa = amount_mol * GAS_J_MOL_K * (self.air_c + ZERO_C_K) / volume_l
        return max(0.0, kpa - ATMOSPHERE_KPA)
