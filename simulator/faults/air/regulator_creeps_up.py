"""A regulator's seat lets by and its pressure creeps up past what the bag bears."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import WORKING_KPA
from simulator.faults.pressing import BAG_BEARS_KPA, BY_EYE_KPA
from simulator.plant import Rig, RigSettings


class RegulatorCreepsUp(Fault):
    """One bag is pressed harder and harder.

    Deadline: the plate of an invented bag says 50 psi, 345 kPa gauge. From the
    working 207 kPa at 4 kPa a minute that is 34 min; 20 litre then hold 17 kJ
    (Brode) instead of 10, and the clamp bears 103 kN instead of 62.

    Attributes:
        bag: which.
        kpa_per_min: how fast it creeps.
        ends_higher_kpa: how far it creeps.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.high", "bag.imbalance")
    harm: ClassVar[str] = "the bag bursts at whoever stands by"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.set"})

    bag: Side = "outer"
    kpa_per_min: float = Field(default=4.0, ge=1.0, le=40.0)
    ends_higher_kpa: float = Field(default=180.0, ge=150.0, le=300.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The creep from the working pressure to the bag's greatest."""
        highest_kpa = WORKING_KPA + BY_EYE_KPA
        return (BAG_BEARS_KPA - highest_kpa) / self.kpa_per_min * 60

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The bag is past its plate."""
        return rig.bags[self.bag].pressure_kpa > BAG_BEARS_KPA

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Creep on."""
        higher_kpa = self.kpa_per_min * since_s / 60
        rig.bags[self.bag].set_offset_kpa = min(self.ends_higher_kpa, higher_kpa)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the regulator."""
        rig.bags[self.bag].set_offset_kpa = 0.0
