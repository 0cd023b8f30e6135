"""A pressure transmitter's zero wanders upward."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import PRESSED_KPA, WORKING_KPA
from simulator.plant import Rig, RigSettings


class TransmitterDrifts(Fault):
    """The bag sinks as its crew trims it down to a gauge that reads high.

    Deadline: at 60 kPa/h the gauge is 57 kPa out after 57 min: a bag trimmed to
    207 kPa by it then holds 150 kPa, below which steam and trapped air open the
    rubber (common practice, no source).

    Attributes:
        bag: which.
        kpa_per_h: how fast.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.imbalance", "bag.sensor", "bag.high")
    harm: ClassVar[str] = "the bag is let down by a false gauge and the rubber opens"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.bag"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HOLD)

    bag: Side = "outer"
    kpa_per_h: float = Field(default=60.0, ge=30.0, le=240.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The drift's way from the working pressure to where the rubber opens."""
        return (WORKING_KPA - PRESSED_KPA) / self.kpa_per_h * 3600

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Wander."""
        rig.instruments[f"bag_{self.bag}_kpa"].drift_per_h = self.kpa_per_h

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change it."""
        rig.instruments[f"bag_{self.bag}_kpa"].drift_per_h = 0.0
