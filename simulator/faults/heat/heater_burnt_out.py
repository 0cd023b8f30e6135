"""All elements of one heater are burnt out before heat-up begins."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import CURE_SPARE_MIN, uneven_min, uneven_s
from simulator.plant import Rig, RigSettings


class HeaterBurntOut(Fault):
    """One pad stays cold; the repair is heated from one side.

    Deadline: the other pad must first come up, 18 kJ/K from 70 to 140 °C by 1600 W less
    its loss, 15 min; then its face runs ahead by a minute's worth each minute. 15 min
    ahead is a tenth of the hold of 150 min, all that can be spared (common practice, no
    source), so 27 min, some of it earned on the way: after that no length of hold cures
    one side without overdoing the other.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.not_heating",)
    harm: ClassVar[str] = "the repair misses cure on one side and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.heater"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """The other pad's rise, and what a hold can spare."""
        return uneven_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """One face has run too far ahead of the other."""
        return uneven_min(rig) >= CURE_SPARE_MIN

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Burn out."""
        rig.pads[self.pad].heater_share = 0.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the pad."""
        rig.pads[self.pad].heater_share = 1.0
