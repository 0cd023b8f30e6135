"""Ice shuts the tap that a bag's pressure is taken from."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import unseen_leak_s
from simulator.plant import Rig, RigSettings


class TapIced(Fault):
    """The gauge follows the bag many minutes late.

    Deadline: the bag holds and nothing is wrong yet; but what it loses next goes
    unseen. A hose that works loose in earnest, half a litre a second for each
    bar, has a bag of 20 l down from 207 to 150 kPa, below which steam and trapped
    air open the rubber (common practice, no source), in 6 s; a leak that a hand
    could still find and stop, a fiftieth of that, in some 6 min. The latter is the
    one that there is time for.

    Attributes:
        bag: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.sensor",)
    harm: ClassVar[str] = "air is lost unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.bag"})
    onset: ClassVar[Onset] = Onset(400.0, Stage.HOLD)

    bag: Side = "outer"

    def deadline_s(self, built: RigSettings) -> float:
        """A leak beside it that could still be stopped, down to where the rubber opens."""
        return unseen_leak_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Freeze."""
        rig.instruments[f"bag_{self.bag}_kpa"].tap_blocked = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Thaw it."""
        rig.instruments[f"bag_{self.bag}_kpa"].tap_blocked = False
