"""The contactor no longer pulls in."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.electrics import ContactorState
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class ContactorStuckOpen(Fault):
    """Both pads go cold in mid-hold, the permit granted in vain.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). Fifty minutes into the hold the rubber, still cold inside,
    takes 305 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18
    kJ/K are there in some 6.6 min, later with less of either.
    """

    wakes: ClassVar[tuple[str, ...]] = ("output.mismatch", "pad.undertemperature")
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.contactor"})
    onset: ClassVar[Onset] = Onset(3000.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stay open."""
        rig.electrics.contactor = ContactorState.STUCK_OPEN

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the contactor."""
        rig.electrics.contactor = ContactorState.WORKS
