"""Wet air through a cold regulator: it ices shut while its bag leaks."""

from math import log
from typing import ClassVar

from pydantic import Field

from simulator.bags import CHILL_C_BAR, ICE_S_C, ICES_BELOW_C
from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.pressing import bag_falls_s, lowest_kpa, passage_dm3_s_bar, unpressed_hot
from simulator.gas import ATMOSPHERE_KPA
from simulator.plant import Rig, RigSettings


class RegulatorIced(Fault):
    """A leak that the regulator made up shows once ice has shut it.

    Deadline: the supply's air cools from the yard's 20 °C towards -12 °C in half
    an hour's lag. What the leak draws takes a third of the regulator's passage and
    chills its seat by 3 K, so ice begins once the air is at 6 °C, after 18 min;
    at its coldest it would block two thirds in 7 min, and through
    0.03 dm³/(s bar) the bag is at 150 kPa gauge 2 min after, in all 27 min. Below
    it steam opens damp rubber at 140 °C.

    Attributes:
        bag: which.
        cold_c: to which it has become cold outside, °C.
        leak_dm3_s_bar: what keeps the air moving.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.low", "bag.drift")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.leak", "supply.wet", "surroundings"})

    bag: Side = "inner"
    cold_c: float = Field(default=-12.0, ge=-15.0, le=-6.0)
    leak_dm3_s_bar: float = Field(default=0.03, ge=0.02, le=0.04)

    def deadline_s(self, built: RigSettings) -> float:
        """The air's cooling to freezing, the growth of ice at its coldest, the bag's fall."""
        least_kpa = built.supply.cut_in_kpa + ATMOSPHERE_KPA
        passing = self.leak_dm3_s_bar * (lowest_kpa(built) + ATMOSPHERE_KPA)
        passing /= passage_dm3_s_bar(built) * least_kpa
        drop_bar = (built.supply.cut_out_kpa - lowest_kpa(built)) / 100
        begins_c = ICES_BELOW_C + CHILL_C_BAR * drop_bar * passing
        cools_s = 0.0
        if built.ambient_c > begins_c:
            left = (begins_c - self.cold_c) / (built.ambient_c - self.cold_c)
            cools_s = -built.supply.lag_s * log(left)
        coldest_c = min(built.ambient_c, self.cold_c)
        blocks_s = (1 - passing) * ICE_S_C / ((begins_c - coldest_c) * passing)
        return cools_s + blocks_s + bag_falls_s(built, self.leak_dm3_s_bar)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leak; the drier has given up and it has become cold."""
        rig.bags[self.bag].leak_dm3_s_bar = self.leak_dm3_s_bar
        rig.supply.wet = True
        rig.surroundings.ambient_c = self.cold_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Seal the leak, thaw the regulator, drain the water."""
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
        rig.bags[self.bag].ice_share = 0.0
        rig.supply.wet = False
        rig.surroundings.ambient_c = rig.settings.ambient_c
