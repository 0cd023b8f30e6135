"""The permit relay's own contact no longer closes."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class PermitContactSticksOpen(Fault):
    """Heat is granted and none comes.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). Over an hour into the hold the rubber, still cold inside,
    takes 265 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18
    kJ/K are there in some 7 min, later with less of either.
    """

    wakes: ClassVar[tuple[str, ...]] = ("output.mismatch", "pad.undertemperature")
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"relays.heat_permit"})
    onset: ClassVar[Onset] = Onset(4000.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stick."""
        rig.relays.stuck["heat_permit"] = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the relay."""
        rig.relays.stuck.pop("heat_permit", None)
