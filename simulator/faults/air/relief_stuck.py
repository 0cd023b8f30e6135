"""A relieving regulator no longer relieves, and the bag has been filled too hard."""

from typing import ClassVar

from pydantic import Field

from simulator.bags import ATMOSPHERE_KPA, ZERO_C_K
from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import WARM_C, WORKING_KPA, rise_s
from simulator.faults.pressing import BAG_BEARS_KPA, BY_EYE_KPA
from simulator.plant import Rig, RigSettings


class ReliefStuck(Fault):
    """The pressure climbs as the bag warms, and no vent lets it out.

    Deadline: the plate of an invented bag says 50 psi, 345 kPa gauge. Filled cold
    to 307 kPa instead of 207 the air has to warm by (345 + 101) / (307 + 101) to
    reach it (ideal gas), to 47 °C; it takes 45 % of the pad's warmth, so the pad
    stands at 81 °C then. By their own power the pads are there in two minutes
    from the preheat; the bag's wall lags some more.

    Attributes:
        bag: which.
        higher_kpa: filled this much above the working pressure.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.high", "bag.imbalance")
    harm: ClassVar[str] = "the bag bursts at whoever stands by"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.relief", "valves"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    bag: Side = "inner"
    higher_kpa: float = Field(default=100.0, ge=90.0, le=125.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise to where the bag's air comes to its greatest pressure."""
        filled_kpa = WORKING_KPA + self.higher_kpa + BY_EYE_KPA + built.bag.relief_margin_kpa
        ratio = (BAG_BEARS_KPA + ATMOSPHERE_KPA) / (filled_kpa + ATMOSPHERE_KPA)
        warmer_c = (built.ambient_c + ZERO_C_K) * (ratio - 1)
        pad_c = built.ambient_c + warmer_c / built.bag.gas_share
        return rise_s(built, WARM_C, pad_c) if pad_c > WARM_C else 0.0

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The bag is past its plate."""
        return rig.bags[self.bag].pressure_kpa > BAG_BEARS_KPA

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stick the vent; the knob was set too high, once."""
        rig.bags[self.bag].relief_share = 0.0
        if since_s < 1.0:
            rig.controls.valves[self.bag].set_kpa = WORKING_KPA + self.higher_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Free the vent and turn the knob back."""
        rig.bags[self.bag].relief_share = 1.0
        rig.controls.valves[self.bag].set_kpa = crew.plan.set_kpa
