"""Somebody trims a bag's air down, and much too far."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.pressing import bag_falls_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class TrimmedTooFar(Fault):
    """The knob is turned and the relieving regulator lets the bag down to it.

    Deadline: the regulator's vent, 0.05 dm³/(s bar), has a 20 litre bag from its
    working pressure to 150 kPa gauge in 46 s, the air cooling as it goes;
    below it steam opens damp rubber at 140 °C (150 kPa: common practice, no source).

    Attributes:
        bag: which.
        to_kpa: where the knob is left.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.low", "release.hot")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"valves"})

    bag: Side = "outer"
    to_kpa: float = Field(default=110.0, ge=40.0, le=135.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little through the vent."""
        return bag_falls_s(built, built.bag.relief_dm3_s_bar, exponent=1.4)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn the knob, once."""
        if since_s < 1.0:
            rig.controls.valves[self.bag].set_kpa = self.to_kpa

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Turn it back."""
        rig.controls.valves[self.bag].set_kpa = crew.plan.set_kpa
