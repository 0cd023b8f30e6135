"""A hose fails and its bag blows off through the hole."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.pressing import PORE_S, bag_falls_s
from simulator.plant import Rig, RigSettings


class HoseBurst(Fault):
    """One bag empties in a minute or so.

    Deadline: flow through 1 dm³/(s bar) (ISO 6358) takes a 20 litre bag from its
    working pressure to 150 kPa gauge in about 3 s, the air cooling as it goes. No
    one can prevent that. What opens then is the rubber: a pore a millimetre wide
    needs r²/alpha = 1e-6 / 1.1e-7 = 9 s for the heat that its steam takes. In all
    some 12 s; then every second makes it worse, and whoever walks up does not know.

    Attributes:
        bag: which.
        hole_dm3_s_bar: sonic conductance of the hole.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.burst", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber; the hose whips whoever stands by"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.feed", "bag.hole"})

    bag: Side = "inner"
    hole_dm3_s_bar: float = Field(default=1.0, ge=0.5, le=50)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little, then the growth of a pore."""
        return bag_falls_s(built, self.hole_dm3_s_bar, exponent=1.4) + PORE_S

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Open the hole; what the regulator sends goes out by it too."""
        rig.bags[self.bag].feed_cut = True
        rig.bags[self.bag].hole_dm3_s_bar = self.hole_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the hose."""
        rig.bags[self.bag].feed_cut = False
        rig.bags[self.bag].hole_dm3_s_bar = 0.0
