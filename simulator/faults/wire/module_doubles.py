"""A module's every answer comes twice."""

from typing import ClassVar, Literal

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble


class ModuleDoubles(Fault):
    """The second copy is taken for the answer to the next question.

    Deadline: on a serial bus no answer can be trusted any more, and blind, the
    supervisor misses a runaway, which goes from 140 to 160 °C, where rubber blows
    (common practice, no source), in about 5 min by the pad's mass and power. Heat
    must be off before. Over TCP each answer bears the number of its question, and
    the copy may be thrown away with nothing lost.

    Attributes:
        module: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    onset: ClassVar[Onset] = Onset(2300.0, Stage.HOLD)

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Say it twice."""
        rig.wire.troubles[self.module] = Trouble.DOUBLED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the converter."""
        rig.wire.troubles.pop(self.module, None)
