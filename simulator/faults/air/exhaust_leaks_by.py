"""An exhaust valve does not shut fully on a bag that is locked off."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.pressing import bag_falls_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class ExhaustLeaksBy(Fault):
    """Dirt on the seat of an exhaust; the lock-off is shut, so nothing makes it up.

    Deadline: a fiftieth of the exhaust's 0.05 dm³/(s bar) lets a 20 litre bag
    down to 150 kPa gauge in 54 min; below it steam opens damp rubber at 140 °C
    (150 kPa: common practice, no source).

    Attributes:
        bag: which.
        passing_share: of the open exhaust's conductance.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.drift", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.leak", "valves"})

    bag: Side = "outer"
    passing_share: float = Field(default=0.02, ge=0.02, le=0.5)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little through what passes."""
        return bag_falls_s(built, self.passing_share * built.bag.exhaust_dm3_s_bar)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leave dirt on the seat; the lock-off has been shut by hand, once."""
        bag = rig.bags[self.bag]
        bag.leak_dm3_s_bar = self.passing_share * bag.settings.exhaust_dm3_s_bar
        if since_s < 1.0:
            rig.controls.valves[self.bag].feed_open = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Blow the seat clean and open the feed."""
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
        rig.controls.valves[self.bag].feed_open = True
