"""Someone pulls the clamp's pins while the bags hold pressure."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig


class PinsPulled(Fault):
    """The clamp is held by nothing but friction.

    Deadline: 207 kPa on 0.3 m² is 62 kN, there at once. Whoever pulled the pins
    stands beside it: sound the horn before the second pin is in the hand, 3 s
    (common practice, no source).
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.pins_under_pressure",)
    deadline_s: ClassVar[float] = 3.0

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Pull them."""
        rig.controls.pins_in = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put them back."""
        rig.controls.pins_in = True
