"""Network time sets the wall clock by a little."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class ClockNudged(Disturbance):
    """A computer that was off the network for a while finds it again.

    No harm: half a second of a hold of two and a half hours is nothing, and
    whoever counts by a clock that cannot be set does not see it at all.

    Attributes:
        step_s: forward, or back where below 0.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"host.clock_step_s"})

    step_s: float = Field(default=0.4, ge=-0.9, le=0.9)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Set it."""
        rig.host.clock_step_s = self.step_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Set it back."""
        rig.host.clock_step_s = 0.0
