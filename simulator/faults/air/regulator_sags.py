"""A relieving regulator creeps down and lets its bag down with it."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.plant import Rig


class RegulatorSags(Fault):
    """One bag sinks slowly to a lower pressure.

    Deadline: at 1.5 kPa a minute it takes 57 / 1.5 = 38 min = 2280 s from 207
    to 150 kPa gauge (see `slow_leak`).

    Attributes:
        bag: which.
        kpa_per_min: how fast it creeps.
        ends_lower_kpa: how far it creeps.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.low",)
    deadline_s: ClassVar[float] = 2280.0

    bag: Side = "outer"
    kpa_per_min: float = Field(default=1.5, gt=0, le=200)
    ends_lower_kpa: float = Field(default=70.0, gt=0, le=300)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Creep on."""
        lower_kpa = min(self.ends_lower_kpa, self.kpa_per_min * since_s / 60)
        rig.bags[self.bag].set_offset_kpa = -lower_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the regulator."""
        rig.bags[self.bag].set_offset_kpa = 0.0
