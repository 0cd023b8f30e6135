"""A relieving regulator no longer relieves, and the bag has been filled too hard."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import WORKING_KPA
from simulator.faults.pressing import BAG_BEARS_KPA, BY_EYE_KPA, bag_warms_s
from simulator.gas import ATMOSPHERE_KPA, ZERO_C_K
from simulator.plant import Rig, RigSettings


class ReliefStuck(Fault):
    """The pressure climbs as the bag warms, and no vent lets it out.

    Deadline: the plate of an invented bag says 50 psi, 345 kPa gauge. Filled cold
    to 307 kPa instead of 207 the air has to warm by (345 + 101) / (310 + 101), and
    a little more as the bag grows, to reach it (ideal gas): from 20 to some 47 °C.
    It takes 45 % of the pads' warmth with a lag of 300 s, and the pads, 18 kJ/K by
    1600 W on cold rubber, are hot enough for that after some 12 min.

    Attributes:
        bag: which.
        higher_kpa: filled this much above the working pressure.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.high", "bag.imbalance")
    harm: ClassVar[str] = "the bag bursts at whoever stands by"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.relief", "valves"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    bag: Side = "inner"
    higher_kpa: float = Field(default=100.0, ge=95.0, le=105.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's warming, sealed, to its greatest pressure."""
        filled_kpa = WORKING_KPA + self.higher_kpa + BY_EYE_KPA + built.bag.relief_margin_kpa
        growth = built.bag.compliance_per_kpa
        ratio = (BAG_BEARS_KPA + ATMOSPHERE_KPA) / (filled_kpa + ATMOSPHERE_KPA)
        ratio *= (1 + growth * BAG_BEARS_KPA) / (1 + growth * filled_kpa)
        return bag_warms_s(built, (built.ambient_c + ZERO_C_K) * ratio - ZERO_C_K)

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
