"""One pad's lead breaks where it was bent too often."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.plant import Rig, RigSettings


class LeadBroken(Fault):
    """One pad goes cold in mid-hold, its thermostat calling in vain.

    Deadline: the pad falls to 120 °C, below which the hold does not count (common
    practice, no source). Forty minutes into the hold the rubber, still cold inside,
    takes 340 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18
    kJ/K are there in some 6.3 min, later with less of either. A lead pulled at is live
    at the break; that is the electrician's.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.undertemperature", "pad.mismatch")
    harm: ClassVar[str] = "the repair misses cure on one side; bare wires are live"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.lead"})
    onset: ClassVar[Onset] = Onset(2400.0, Stage.HOLD)

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, self.pad)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it."""
        rig.pads[self.pad].lead_broken = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the lead."""
        rig.pads[self.pad].lead_broken = False
