"""A thermal cut-out opens for no reason and stays open."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.plant import Rig, RigSettings


class CutoutOpens(Fault):
    """One pad goes cold in mid-hold until someone resets its cut-out by hand.

    Deadline: the pad falls to 120 °C, below which the hold does not count (common
    practice, no source). Ten minutes into the hold the rubber, still cold inside, takes
    685 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18 kJ/K are
    there in some 4.5 min, later with less of either.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.cutout_open", "pad.undertemperature", "pad.mismatch")
    harm: ClassVar[str] = "the repair misses cure on one side and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.cutout"})

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, self.pad)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Open it."""
        rig.pads[self.pad].cutout_ok = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change and reset it."""
        rig.pads[self.pad].cutout_ok = True
