"""A relieving regulator creeps down and lets its bag down with it."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import PRESSED_KPA
from simulator.faults.pressing import bag_falls_s, lowest_kpa, unpressed_hot
from simulator.plant import Rig, RigSettings


class RegulatorSags(Fault):
    """One bag sinks slowly to a lower pressure.

    Deadline: at 1.5 kPa a minute the 53 kPa from its lowest good pressure to
    150 kPa gauge take 35 min; below it steam opens damp rubber at 140 °C
    (150 kPa: common practice, no source). A bag that is not relieved only stops
    being refilled.

    Attributes:
        bag: which.
        kpa_per_min: how fast it creeps.
        ends_lower_kpa: how far it creeps.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.low", "bag.drift")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.set"})

    bag: Side = "outer"
    kpa_per_min: float = Field(default=1.5, ge=0.5, le=200)
    ends_lower_kpa: float = Field(default=75.0, ge=60.0, le=200)

    def deadline_s(self, built: RigSettings) -> float:
        """The creep from the lowest good pressure to too little, no faster than the vent."""
        creeps_s = (lowest_kpa(built) - PRESSED_KPA) / self.kpa_per_min * 60
        return max(creeps_s, bag_falls_s(built, built.bag.relief_dm3_s_bar, exponent=1.4))

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Creep on."""
        lower_kpa = min(self.ends_lower_kpa, self.kpa_per_min * since_s / 60)
        rig.bags[self.bag].set_offset_kpa = -lower_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the regulator."""
        rig.bags[self.bag].set_offset_kpa = 0.0
