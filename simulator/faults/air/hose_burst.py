"""A hose fails and its bag blows off through the hole."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.plant import Rig


class HoseBurst(Fault):
    """One bag empties in a minute or so.

    Deadline: choked flow through 1 dm³/(s bar) takes a 20 litre bag from 308
    to 251 kPa absolute (150 kPa gauge) in V p0 / (C p_ref) ln(308 / 251), about
    4 s at room temperature. No one can prevent that; the harm still to be
    prevented is to people who walk up, and heat into a repair without
    pressure: a pad gives its bare rubber 20 K more in some minutes. Tell
    within 15 s.

    Attributes:
        bag: which.
        hole_dm3_s_bar: sonic conductance of the hole.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.burst",)
    deadline_s: ClassVar[float] = 15.0

    bag: Side = "inner"
    hole_dm3_s_bar: float = Field(default=1.0, gt=0, le=50)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Open the hole; what the regulator sends goes out by it too."""
        rig.bags[self.bag].feed_cut = True
        rig.bags[self.bag].hole_dm3_s_bar = self.hole_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the hose."""
        rig.bags[self.bag].feed_cut = False
        rig.bags[self.bag].hole_dm3_s_bar = 0.0
