"""A coupling creeps off and shuts itself; the bag behind it leaks slowly."""

from typing import ClassVar

from pydantic import Field

from simulator.bags import ATMOSPHERE_KPA, GAS_J_MOL_K, ZERO_C_K, flow_mol_s
from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.plant import Rig


class SlowLeak(Fault):
    """One bag, cut off from its feed, loses air.

    Deadline: from 207 kPa gauge at 45 kPa an hour it takes 57 / 45 h = 4560 s
    to 150 kPa, below which steam blows damp rubber at 140 °C the more easily
    (150 kPa: common practice, no source). Someone must know before.

    Attributes:
        bag: which.
        kpa_per_h: loss at onset, kPa/h; it slows as the pressure falls.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.drift", "bag.low")
    deadline_s: ClassVar[float] = 4560.0

    bag: Side = "inner"
    kpa_per_h: float = Field(default=45.0, gt=0, le=2000)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Shut the coupling and open a leak of the wanted size, once."""
        bag = rig.bags[self.bag]
        if bag.leak_dm3_s_bar:
            return
        bag.feed_cut = True
        per_mol_kpa = GAS_J_MOL_K * (bag.gas_c + ZERO_C_K) / bag.settings.volume_l
        unit_mol_s = flow_mol_s(1.0, bag.pressure_kpa + ATMOSPHERE_KPA, ATMOSPHERE_KPA)
        if unit_mol_s > 0:
            bag.leak_dm3_s_bar = self.kpa_per_h / 3600 / per_mol_kpa / unit_mol_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Push the coupling home and seal the leak."""
        rig.bags[self.bag].feed_cut = False
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
