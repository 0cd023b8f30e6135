"""One exhaust is blocked, and the crew unpins by the other bag."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.pressing import second_pin_s
from simulator.plant import Rig, RigSettings


class UnpinsFullBag(Fault):
    """One bag is soft, the hissing is over, and the pins come out.

    Deadline: the other bag still presses with its full force, 62 kN at 207 kPa on
    0.3 m². From the first pin to the second is a way of 2 m at 1.6 m/s (ISO 13855,
    from memory) and a grip: 3 s after the first is out, which is when the other
    bag is soft, 7 min after the exhausts were opened.

    Attributes:
        bag: the one whose exhaust is blocked.
        unpins_after_s: from the begin of the let-down.
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.pins_under_pressure",)
    harm: ClassVar[str] = "the clamp flies open at whoever stands there"
    touches: ClassVar[frozenset[str]] = frozenset({"pins", "bag.exhaust"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.LET_DOWN)

    bag: Side = "outer"
    unpins_after_s: float = Field(default=420.0, ge=240.0, le=1200.0)

    def deadline_s(self, built: RigSettings) -> float:
        """Until the first pin is out, then the way to the second."""
        return self.unpins_after_s + second_pin_s()

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Block the silencer; later pull the pins."""
        rig.bags[self.bag].exhaust_share = 0.0
        if since_s >= self.unpins_after_s:
            rig.controls.pins_in = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put the pins back and change the silencer."""
        rig.controls.pins_in = True
        rig.bags[self.bag].exhaust_share = 1.0
