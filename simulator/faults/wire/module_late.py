"""A module answers, but too late to be of use."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.plant import Rig
from simulator.wire import Trouble, Wire


class ModuleLate(BlindingFault):
    """Each answer comes when the next question has been asked.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.

    Attributes:
        late_s: how late, s.
    """

    trouble: ClassVar[Trouble] = Trouble.LATE
    onset: ClassVar[Onset] = Onset(1000.0, Stage.HOLD)

    late_s: float = Field(default=2.0, ge=1.5, le=10.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be late."""
        super().act(rig, crew, since_s)
        rig.wire.late_s = self.late_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Take load off the bus."""
        super().mend(rig, crew)
        rig.wire.late_s = Wire().late_s
