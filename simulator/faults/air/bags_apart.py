"""One bag's regulator is set far below the other's, and the heat goes on."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import SAFE_LET_DOWN_C, WORKING_KPA
from simulator.faults.pressing import face_rises_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class BagsApart(Fault):
    """The section is pushed to one side and pressed too little from the other.

    Deadline: 65 kPa between the bags on 0.3 m² push the section aside with 20 kN,
    the weight of two tonnes. The rubber still flows; once it is past 100 °C it
    sets as it lies, and pressed with less than 150 kPa it sets porous. 1600 W warm
    a pad of 18 kJ/K from 55 °C and the rubber under it from 20 °C to that in some
    12 min.

    Attributes:
        bag: the one set too low.
        lower_kpa: set this much below the working pressure.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.imbalance", "bag.low")
    harm: ClassVar[str] = "the repair sets crooked and porous"
    touches: ClassVar[frozenset[str]] = frozenset({"valves"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    bag: Side = "outer"
    lower_kpa: float = Field(default=68.0, ge=65.0, le=150.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The rubber's rise under the pads to where it sets."""
        return face_rises_s(built, SAFE_LET_DOWN_C)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn the knob down, once; a relieving regulator lets the bag down to it."""
        if since_s < 1.0:
            rig.controls.valves[self.bag].set_kpa = WORKING_KPA - self.lower_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Set it like the other."""
        rig.controls.valves[self.bag].set_kpa = crew.plan.set_kpa
