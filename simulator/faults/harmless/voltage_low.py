"""The mains are some per cent low all day."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Onset
from simulator.plant import Rig


class VoltageLow(Disturbance):
    """The heaters give a little less.

    No harm: 7 % less voltage are 14 % less power, 1380 W of 1600, of which a pad at
    140 °C needs 500; the heat-up takes some minutes longer. EN 50160 allows 10 %,
    and a contactor stays in far below that.

    Attributes:
        share: of the nominal voltage.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})
    onset: ClassVar[Onset] = Onset(60.0)

    share: float = Field(default=0.93, ge=0.9, le=0.99)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be low."""
        rig.electrics.mains_share = self.share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be nominal."""
        rig.electrics.mains_share = 1.0
