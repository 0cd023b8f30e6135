"""A module answers, but too late to be of use."""

from typing import ClassVar, Literal

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble, Wire


class ModuleLate(Fault):
    """Each answer comes when the next question has been asked.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.

    Attributes:
        module: which.
        late_s: how late, s.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    onset: ClassVar[Onset] = Onset(1000.0, Stage.HOLD)

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"
    late_s: float = Field(default=2.0, ge=1.5, le=10.0)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be late."""
        rig.wire.troubles[self.module] = Trouble.LATE
        rig.wire.late_s = self.late_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Take load off the bus."""
        rig.wire.troubles.pop(self.module, None)
        rig.wire.late_s = Wire().late_s
