"""The contactor welds: heat stays on whatever the permit says."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.electrics import ContactorState
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import CURE_SPARE_MIN, HOLD_S
from simulator.plant import Rig, RigSettings


class ContactorWelds(Fault):
    """Heat that will not go off; only the supply's own switch helps.

    Deadline: with working thermostats the pads stay at their setting, and the
    harm is a cure that goes on past its end. A hold of 150 min bears a tenth,
    15 min, more (common practice, no source), counted from the planned end. The
    weld is made 10 min before that: 25 min.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.heat_after_cutoff",)
    harm: ClassVar[str] = "heat cannot be taken away; the rubber is overdone"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.contactor"})
    onset: ClassVar[Onset] = Onset(HOLD_S - 600.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """What is left of the hold, and what it can spare."""
        return HOLD_S - self.onset.after_s + CURE_SPARE_MIN * 60

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Weld."""
        rig.electrics.contactor = ContactorState.WELDED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the contactor."""
        rig.electrics.contactor = ContactorState.WORKS
