"""What all faults of one module's answers share: the supervisor cannot see or act through it."""

from typing import ClassVar, Literal

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble


class BlindingFault(Fault):
    """One module's answers are no longer of use.

    Attributes:
        trouble: what goes wrong when it is asked.
        module: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    trouble: ClassVar[Trouble]

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Trouble it."""
        rig.wire.troubles[self.module] = self.trouble

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put the wire or the module right."""
        rig.wire.troubles.pop(self.module, None)
