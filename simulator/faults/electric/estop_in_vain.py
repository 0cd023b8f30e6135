"""The emergency stop is pressed, but someone has bypassed it at the coil."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import FETCHES_TOOL_S
from simulator.plant import Rig, RigSettings


class EstopInVain(Fault):
    """Whoever pressed believes that the heat is off.

    Deadline: whoever stops a rig for a fault fetches what is needed and opens
    it: 60 s (common practice, no source). By then heat must be off, or they
    must have been told that it is not.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.estop", "pad.heat_after_cutoff")
    harm: ClassVar[str] = "someone opens a rig that is live"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.estop", "electrics.estop"})
    onset: ClassVar[Onset] = Onset(1000.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """Someone's way to a tool and back."""
        return FETCHES_TOOL_S

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Press in vain."""
        rig.electrics.estop_bypassed = True
        rig.controls.estop_pressed = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Take the bypass out, pull out the button."""
        rig.electrics.estop_bypassed = False
        rig.controls.estop_pressed = False
