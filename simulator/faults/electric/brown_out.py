"""The mains sag for good; the contactor only just holds."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cooling_s
from simulator.plant import Rig, RigSettings


class BrownOut(Fault):
    """Half the heat, no compressor, and a contactor about to drop out.

    Deadline: at 0.7 of the voltage the heaters give half their power, which still holds
    140 °C. But a contactor drops out somewhere below 0.65 and does not pull in again.
    It may drop in the next second: then the air takes 5 W/K and the rubber, still cold
    inside 25 min into the hold, 430 W, and pads of 18 kJ/K are at 120 °C, below which
    the hold does not count (common practice, no source), in some 5.8 min.

    Attributes:
        share: of the nominal voltage that is left.
    """

    wakes: ClassVar[tuple[str, ...]] = ("mains.lost",)
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})
    onset: ClassVar[Onset] = Onset(1500.0, Stage.HOLD)

    share: float = Field(default=0.7, ge=0.66, le=0.78)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Sag."""
        rig.electrics.mains_share = self.share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Rise again."""
        rig.electrics.mains_share = 1.0
