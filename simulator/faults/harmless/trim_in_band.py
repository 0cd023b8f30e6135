"""Somebody trims a bag's air a little."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Side
from simulator.plant import Rig


class TrimInBand(Disturbance):
    """The knob is turned by some kPa and the bag follows.

    No harm: 12 kPa below the working 207 leave 195, far above the 150 below which
    steam opens damp rubber at 140 °C (150 kPa: common practice, no source), and 4 kN
    of difference on a clamp that bears 62.

    Attributes:
        bag: which.
        by_kpa: up, or down where below 0.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"valves"})

    bag: Side = "inner"
    by_kpa: float = Field(default=-12.0, ge=-15.0, le=15.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn it, once."""
        if since_s < 1.0:
            rig.controls.valves[self.bag].set_kpa += self.by_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Turn it back."""
        rig.controls.valves[self.bag].set_kpa = crew.plan.set_kpa
