"""The next repair is begun at once, with the pads still warm."""

from dataclasses import replace
from typing import ClassVar

from simulator.crew import Crew, RepairPlan, Stage
from simulator.faults.base import Disturbance, Onset
from simulator.plant import Rig


class WarmSecondRepair(Disturbance):
    """A second tyre stands ready; nobody lets the pads cool for it.

    No harm: pads come off below 70 °C, which is what a preheat is to bring them to;
    the new tyre is cold, and is pressed before it is heated like any other.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"crew.plans"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.TAKE_OFF)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Plan it, once."""
        if since_s < 1.0:
            crew.plans = (*crew.plans, _again(crew))

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Leave it for tomorrow, if it is not begun."""
        if crew.plans[-1] == _again(crew) and crew.repair < len(crew.plans):
            crew.plans = crew.plans[:-1]


def _again(crew: Crew) -> RepairPlan:
    return replace(crew.plans[0], start_after_s=0.0, preheat_s_min=300.0)
