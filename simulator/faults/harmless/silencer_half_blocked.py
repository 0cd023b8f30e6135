"""An exhaust's silencer is half blocked with talc."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Disturbance, Onset, Side
from simulator.plant import Rig


class SilencerHalfBlocked(Disturbance):
    """One bag takes longer to let down than the other.

    No harm: the repair is cold by then and the crew waits for both gauges. Half the
    0.05 dm³/(s bar) empties 20 litre in some 17 min instead of 9.

    Attributes:
        bag: which.
        left_share: of the exhaust that is left.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"bag.exhaust"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.LET_DOWN)
    may_wake: ClassVar[tuple[str, ...]] = ("bag.imbalance",)

    bag: Side = "inner"
    left_share: float = Field(default=0.5, ge=0.3, le=0.9)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Block it."""
        rig.bags[self.bag].exhaust_share = self.left_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the silencer."""
        rig.bags[self.bag].exhaust_share = 1.0
