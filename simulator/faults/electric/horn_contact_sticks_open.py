"""The horn relay's contact no longer closes."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings


class HornContactSticksOpen(Fault):
    """Nobody hears what they are told, in the middle of a hold.

    Deadline: nothing breaks by itself; the next thing that does is not heard,
    and the quickest of what a person can still meet, a runaway from 140 to
    160 °C, takes about 5 min by the pad's mass and power.
    """

    wakes: ClassVar[tuple[str, ...]] = ("horn.failed", "output.mismatch")
    harm: ClassVar[str] = "a call to stand clear goes unheard"
    touches: ClassVar[frozenset[str]] = frozenset({"relays.horn"})

    def deadline_s(self, built: RigSettings) -> float:
        """The quickest trouble that a horn could still have told of."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stick."""
        rig.relays.stuck["horn"] = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the relay."""
        rig.relays.stuck.pop("horn", None)
