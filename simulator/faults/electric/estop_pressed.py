"""Someone presses the emergency stop, and does not say why."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class EstopPressed(Fault):
    """No heat until someone has looked and pulled it out again.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). Ten minutes into the hold the rubber, still cold inside, takes
    685 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18 kJ/K are
    there in some 4.5 min, later with less of either. Whoever pressed may need help
    sooner than that.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.estop",)
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.estop"})

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Press."""
        rig.controls.estop_pressed = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Pull it out."""
        rig.controls.estop_pressed = False
