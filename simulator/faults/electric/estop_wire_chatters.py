"""A loose wire in the emergency stop's loop opens it now and then."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import stands_clear_s
from simulator.plant import Rig, RigSettings


class EstopWireChatters(Fault):
    """Heat goes and comes back by itself: an unexpected start each time.

    Deadline: the first gap comes within a second at the earliest. Someone who
    sees the contactor drop, understands in 1.5 s and walks 10 m at 1.6 m/s
    (ISO 13855, from memory) has hold of the box 7.75 s later, and must not find
    heat back on.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.estop",)
    harm: ClassVar[str] = "heat comes back on someone who looks for the fault"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.estop"})
    onset: ClassVar[Onset] = Onset(700.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The first gap, and someone's way to the box."""
        return 1.0 + stands_clear_s(10.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be loose."""
        rig.electrics.estop_wire_chatters = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Tighten it."""
        rig.electrics.estop_wire_chatters = False
