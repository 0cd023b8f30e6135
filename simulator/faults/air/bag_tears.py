"""A bag tears open while hot, with all that it stores."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.pressing import PORE_S, bag_falls_s
from simulator.plant import Rig, RigSettings


class BagTears(Fault):
    """A bag is gone in a second; its regulator goes on blowing into the tear.

    Deadline: 20 litre at 207 kPa hold 10 kJ (Brode: 207 kPa x 20 l / 0.4), and
    through 10 dm³/(s bar) they are out in about a second. The blast cannot be
    helped; what can is the rubber, hot and pressed by nothing, in which a pore a
    millimetre wide needs r²/alpha = 9 s for the heat that its steam takes.

    Attributes:
        bag: which.
        hole_dm3_s_bar: sonic conductance of the tear.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.burst", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber; the next one is at the rig when it happens"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.hole"})

    bag: Side = "outer"
    hole_dm3_s_bar: float = Field(default=10.0, ge=3.0, le=50)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little, then the growth of a pore."""
        return bag_falls_s(built, self.hole_dm3_s_bar, exponent=1.4) + PORE_S

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Tear."""
        rig.bags[self.bag].hole_dm3_s_bar = self.hole_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the bag."""
        rig.bags[self.bag].hole_dm3_s_bar = 0.0
