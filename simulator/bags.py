"""Air: bags of ideal gas with the regulators, hoses and valves that feed them.

Filling heats the gas of a bag, a burst cools it, and the wall takes the
difference back within seconds (see `vessel`). The wall itself follows its
surroundings in minutes; so does the pressure of a bag that nobody touches. The
hardware's figures are invented and of a plausible size.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

from simulator.gas import (
    ATMOSPHERE_KPA,
    CRITICAL_RATIO,
    REFERENCE_MOL_M3,
    flow_mol_s,
    in_series,
)
from simulator.vessel import Vessel, VesselSettings

# Below this, what a sub-step adds goes out in the same sub-step, or the gauge would flutter.
NEARLY_EMPTY_KPA = 5.0
# The vent's seat is shut again this close to its margin.
VENT_SHUTS_KPA = 0.05
# A spring holds the regulator's seat against this much from behind.
SEAT_SPRING_KPA = 10.0
SHUT_SHARE = 1e-3  # a hose kinked to less than this is shut

# Far below choking, ISO 6358 makes the drop along a hose go with the flow's square:
# drop / p = (1 - b) / 2 * (flow / choked flow)².
_HOSE_DROP = (1 - CRITICAL_RATIO) / 2 / (1e-5 * REFERENCE_MOL_M3) ** 2

ICES_BELOW_C = 3.0
# Per bar of drop; several times what throttling alone takes (Joule and Thomson: about
# 0.2 K), because the jet chills the seat before it comes to rest.
CHILL_C_BAR = 1.5
# Seconds times °C: to block the seat when wide open that far below, and to free it
# when that far above freezing. Invented: minutes, as a fitter would tell.
ICE_S_C = 3600.0
THAW_S_C = 6000.0


class AirMode(StrEnum):
    """How a bag is held at pressure; locked off, the crew shuts the feed once it is up."""

    RELIEVING = "relieving"
    NON_RELIEVING = "non_relieving"
    LOCKED_OFF = "locked_off"


@dataclass(frozen=True, slots=True)
class BagSettings(VesselSettings):
    """One bag and its hose, regulator and valves.

    Attributes:
        gas_share: share of the pad's warmth above ambient that wall and gas take.
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

    gas_share: float = 0.45
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


class Bag(Vessel):
    """An air bag with its hose, regulator and valves.

    Attributes:
        settings: how it is built.
        regulator_open: the regulator's seat is off.
        ice_share: of the regulator's passage that is blocked by ice.
        leak_dm3_s_bar: a leak of the bag itself.
        hole_dm3_s_bar: a burst.
        feed_cut: the hose is off or its coupling has shut itself.
        feed_share: of the hose that is left, both ways; kinked or frozen: 0.
        exhaust_share: of the exhaust that is left; silencer blocked or iced.
        relief_share: of the relieving vent that is left; stuck: 0.
        set_offset_kpa: the regulator delivers this much beside its knob (creep).
    """

    def __init__(self, settings: BagSettings, start_c: float) -> None:
        super().__init__(settings, start_c)
        self.settings = settings
        self.regulator_open = False
        self.ice_share = 0.0
        self.leak_dm3_s_bar = 0.0
        self.hole_dm3_s_bar = 0.0
        self.feed_cut = False
        self.feed_share = 1.0
        self.exhaust_share = 1.0
        self.relief_share = 1.0
        self.set_offset_kpa = 0.0
        self._opening = 0.0

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
        self._warm_wall(dt_s, around_c, self.warmed_j - warmed_before_j)
        return taken_mol

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
