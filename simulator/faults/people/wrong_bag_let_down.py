"""Someone from the next rig lets down a bag of this one, in its cool-down."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.pressing import bag_falls_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class WrongBagLetDown(Fault):
    """One bag goes down while the repair still cures by what it holds.

    Deadline: ten minutes into the cool-down the core is near 140 °C yet, and a
    bag goes from its working pressure to 150 kPa gauge through its exhaust's
    0.05 dm³/(s bar) in 46 s. Below it steam opens damp rubber (150 kPa:
    common practice, no source). Tell in time to shut the exhaust again.

    Attributes:
        bag: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("cure.pressure_lost", "release.hot", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber, though the heat is long off"
    touches: ClassVar[frozenset[str]] = frozenset({"valves"})
    onset: ClassVar[Onset] = Onset(600.0, Stage.COOL)

    bag: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little through its exhaust."""
        return bag_falls_s(built, built.bag.exhaust_dm3_s_bar, exponent=1.4)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Shut the feed and open the exhaust, once."""
        if since_s < 1.0:
            rig.controls.valves[self.bag].feed_open = False
            rig.controls.valves[self.bag].exhaust_open = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Close the exhaust and refill."""
        rig.controls.valves[self.bag].exhaust_open = False
        rig.controls.valves[self.bag].feed_open = True
