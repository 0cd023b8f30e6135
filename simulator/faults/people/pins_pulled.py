"""Someone pulls the clamp's pins while the bags hold pressure."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import second_pin_s
from simulator.plant import Rig, RigSettings


class PinsPulled(Fault):
    """The clamp is held by nothing but friction.

    Deadline: 207 kPa on 0.3 m² is 62 kN, there at once, and the pin that is still
    in bears it alone. Whoever pulled the first walks 2 m to the second at 1.6 m/s
    (ISO 13855, from memory) and takes hold of it: about 3 s.
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.pins_under_pressure",)
    harm: ClassVar[str] = "the clamp flies open at whoever stands there"
    touches: ClassVar[frozenset[str]] = frozenset({"pins"})

    def deadline_s(self, built: RigSettings) -> float:
        """The way from one pin to the other."""
        return second_pin_s()

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Pull them."""
        rig.controls.pins_in = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put them back."""
        rig.controls.pins_in = True
