"""Another unit answers in a module's place."""

from typing import ClassVar, Literal

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble


class ModuleForeign(Fault):
    """Two units have been given one address.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.

    Attributes:
        module: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    onset: ClassVar[Onset] = Onset(1600.0, Stage.HOLD)

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Let the other answer."""
        rig.wire.troubles[self.module] = Trouble.FOREIGN

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Set the addresses right."""
        rig.wire.troubles.pop(self.module, None)
