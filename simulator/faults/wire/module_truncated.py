"""A module's answers break off in the middle."""

from typing import ClassVar, Literal

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble


class ModuleTruncated(Fault):
    """Half of each answer comes.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.

    Attributes:
        module: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    onset: ClassVar[Onset] = Onset(1400.0, Stage.HOLD)

    module: Literal["temperatures", "pressures", "relays"] = "pressures"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break off."""
        rig.wire.troubles[self.module] = Trouble.TRUNCATED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the module."""
        rig.wire.troubles.pop(self.module, None)
