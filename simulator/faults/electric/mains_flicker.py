"""The mains come and go every few seconds."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class MainsFlicker(Fault):
    """The contactor drops and pulls in without end; little heat comes through.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). A quarter of an hour into the hold the rubber, still cold
    inside, takes 560 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5
    W/K; a sixth of its power, 270 W, comes through to a pad of 18 kJ/K, which is there
    in some 6.7 min.

    Attributes:
        off_s: of each round.
        on_s: of each round.
    """

    wakes: ClassVar[tuple[str, ...]] = ("mains.lost",)
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})
    onset: ClassVar[Onset] = Onset(900.0, Stage.HOLD)

    off_s: float = Field(default=10.0, ge=8.0, le=30.0)
    on_s: float = Field(default=2.0, ge=1.0, le=2.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall with what heat comes through."""
        on_share = self.on_s / (self.on_s + self.off_s)
        return cooling_s(built, into_hold_s=self.onset.after_s, power_share=on_share)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Come and go."""
        there = since_s % (self.on_s + self.off_s) >= self.off_s
        rig.electrics.mains_share = float(there)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Stay."""
        rig.electrics.mains_share = 1.0
