"""The permit relay's own contact sticks closed."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import CURE_SPARE_MIN, HOLD_S
from simulator.plant import Rig, RigSettings


class PermitContactSticksClosed(Fault):
    """The coil lets go and the contact does not: heat stays on past the planned end.

    Deadline: as of a welded contactor: 15 min, a tenth of the hold (common
    practice, no source), after the planned end, which is 5 min off: 20 min.
    Read back, the coil looks as it should; only current or the contactor tell.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.heat_after_cutoff", "output.mismatch")
    harm: ClassVar[str] = "heat cannot be taken away; the rubber is overdone"
    touches: ClassVar[frozenset[str]] = frozenset({"relays.heat_permit"})
    onset: ClassVar[Onset] = Onset(HOLD_S - 300.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """What is left of the hold, and what it can spare."""
        return HOLD_S - self.onset.after_s + CURE_SPARE_MIN * 60

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stick."""
        rig.relays.stuck["heat_permit"] = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the relay."""
        rig.relays.stuck.pop("heat_permit", None)
