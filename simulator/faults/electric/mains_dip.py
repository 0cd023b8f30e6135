"""The mains dip for some seconds; the contactor drops out and pulls in again."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import stands_clear_s
from simulator.plant import Rig, RigSettings


class MainsDip(Fault):
    """Heat goes, and comes back by itself with the voltage: an unexpected start.

    Deadline: someone who stands by, sees the lamps go out and takes hold of a
    plug or a lead, walks 5 m at 1.6 m/s (ISO 13855, from memory) after 1.5 s of
    understanding: 4.6 s. Heat comes back after the dip of 6 s and must be gone
    again, or told, before the next such person has a hand on it: 11 s.

    Attributes:
        share: of the nominal voltage that is left.
        dip_s: how long.
    """

    wakes: ClassVar[tuple[str, ...]] = ("mains.lost",)
    harm: ClassVar[str] = "heat comes back on someone who has hold of a lead"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})
    onset: ClassVar[Onset] = Onset(1200.0, Stage.HOLD)

    share: float = Field(default=0.4, ge=0.0, le=0.6)
    dip_s: float = Field(default=6.0, ge=3.0, le=60.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The dip, and someone's way to the lead."""
        return self.dip_s + stands_clear_s(5.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Dip, and be over."""
        rig.electrics.mains_share = self.share if since_s < self.dip_s else 1.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be over."""
        rig.electrics.mains_share = 1.0
