"""The mains fail, and the compressor goes with them."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class MainsLost(Fault):
    """No heat and no more air than the receiver holds.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). Ten minutes into the hold the rubber, still cold inside, takes
    685 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18 kJ/K are
    there in some 4.5 min, later with less of either. The receiver holds many bags full:
    the air lasts longer, if nobody draws on it.
    """

    wakes: ClassVar[tuple[str, ...]] = ("mains.lost",)
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Fail."""
        rig.electrics.mains_share = 0.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back."""
        rig.electrics.mains_share = 1.0
