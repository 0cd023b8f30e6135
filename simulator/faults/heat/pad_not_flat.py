"""A pad does not lie flat: a fold of its cover keeps it off the rubber."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import CURE_SPARE_MIN, uneven_min, uneven_s
from simulator.plant import Rig, RigSettings


class PadNotFlat(Fault):
    """The pad comes up early and easily; the rubber under it stays cold.

    Deadline: if nothing came across the fold, the other face would be 15 min's worth
    ahead (a tenth of a hold of 150 min, all that can be spared; common practice, no
    source) 27 min after heat-up began: 15 min for its pad to rise, and the rest. What
    does come across delays that to twice as long or so. The pad's thermocouple sees a
    hot pad: only how little heat it takes could tell.

    Attributes:
        pad: which.
        contact_share: of the sound contact.
    """

    wakes: ClassVar[tuple[str, ...]] = ("cure.short",)
    harm: ClassVar[str] = "the repair misses cure on one side and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.contact"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.AIR_UP)

    pad: Side = "outer"
    contact_share: float = Field(default=0.05, ge=0.01, le=0.08)

    def deadline_s(self, built: RigSettings) -> float:
        """The other pad's rise, and what a hold can spare."""
        return uneven_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """One face has run too far ahead of the other."""
        return uneven_min(rig) >= CURE_SPARE_MIN

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Lie on the fold."""
        rig.pads[self.pad].contact_share = self.contact_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Lay it flat."""
        rig.pads[self.pad].contact_share = 1.0
