"""Some elements of one heater are burnt out; the rest do what they can."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import CURE_SPARE_MIN, uneven_min, uneven_s
from simulator.plant import Rig, RigSettings


class HeaterWeak(Fault):
    """One pad comes up late; at a third of its power it never quite gets there.

    Deadline: while the weak pad cannot cure at all, the sound one comes from 70 to 140
    °C in 15 min and its face then runs ahead by a minute's worth each minute, until
    after 27 min it is 15 min ahead: a tenth of a hold of 150 min, all that can be
    spared (common practice, no source). The weak pad's own work only delays that.

    Attributes:
        pad: which.
        left_share: of its elements.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.not_heating",)
    harm: ClassVar[str] = "the repair misses cure on one side and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.heater"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HEAT_UP)

    pad: Side = "outer"
    left_share: float = Field(default=0.33, ge=0.1, le=0.4)

    def deadline_s(self, built: RigSettings) -> float:
        """The other pad's rise, and what a hold can spare."""
        return uneven_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """One face has run too far ahead of the other."""
        return uneven_min(rig) >= CURE_SPARE_MIN

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Burn out in part."""
        rig.pads[self.pad].heater_share = self.left_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the pad."""
        rig.pads[self.pad].heater_share = 1.0
