"""A coupling creeps off and shuts itself; the bag behind it leaks slowly."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import WORKING_KPA, hole_dm3_s_bar
from simulator.faults.pressing import bag_falls_s, gas_c, unpressed_hot
from simulator.plant import Rig, RigSettings


class SlowLeak(Fault):
    """One bag, cut off from its feed, loses air.

    Deadline: at 45 kPa an hour, slowing as it falls, the 53 kPa from its lowest
    good pressure to 150 kPa gauge are lost in 78 min; below that steam opens damp rubber at 140 °C
    (150 kPa: common practice, no source). Someone must know before.

    Attributes:
        bag: which.
        kpa_per_h: loss at onset, kPa/h; it slows as the pressure falls.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.drift", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.feed", "bag.leak"})

    bag: Side = "inner"
    kpa_per_h: float = Field(default=45.0, ge=30.0, le=2000)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little through a hole of this size."""
        hole = hole_dm3_s_bar(self.kpa_per_h, built.bag.volume_l, WORKING_KPA, gas_c(built))
        return bag_falls_s(built, hole)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Shut the coupling and open a leak of the wanted size, once."""
        bag = rig.bags[self.bag]
        if bag.leak_dm3_s_bar:
            return
        bag.feed_cut = True
        bag.leak_dm3_s_bar = hole_dm3_s_bar(
            self.kpa_per_h, bag.settings.volume_l, bag.pressure_kpa, bag.gas_c
        )

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Push the coupling home and seal the leak."""
        rig.bags[self.bag].feed_cut = False
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
