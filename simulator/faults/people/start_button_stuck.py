"""The start button sticks, pressed."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import FETCHES_TOOL_S
from simulator.plant import Rig, RigSettings


class StartButtonStuck(Fault):
    """A button full of rubber dust asks for heat, for ever.

    Deadline: nothing is wrong while heat is wanted. But the next trip would be
    followed by an asking that no hand made: heat that comes by itself onto whoever
    works at the pads (IEC 60204-1, unexpected start). Someone with a tool is there
    60 s after a trip (common practice, no source); by then the button must be
    known to be stuck.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.button_stuck", "run.unattended")
    harm: ClassVar[str] = "heat comes on by itself under somebody's hands"
    touches: ClassVar[frozenset[str]] = frozenset({"buttons"})

    def deadline_s(self, built: RigSettings) -> float:
        """A trip at onset, and someone's way to the pads with a tool."""
        return FETCHES_TOOL_S

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stick."""
        rig.controls.taped.add("start_button")

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Clean it."""
        rig.controls.taped.discard("start_button")
