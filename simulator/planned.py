"""What a scenario is: who does what, on which rig, and what breaks when."""

import math
from dataclasses import dataclass

from simulator.crew import RepairPlan
from simulator.faults.base import Fault, Onset
from simulator.plant import RigSettings

TAIL_S = 600.0
# Besides hold and errands, the whole of a repair takes some four hours; a stuck one ends here.
BESIDES_HOLD_S_MAX = 5 * 3600.0


class ScenarioError(ValueError):
    """The scenario or fault asked for does not exist or cannot be; says what can."""


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """A fault and its onset."""

    name: str
    fault: Fault
    onset: Onset


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is going to happen.

    Attributes:
        name: of the scenario.
        title: one line for people.
        plans: the repairs, one after another.
        faults: strike the first rig only.
        tail_s: the scenario goes on this long after the last repair is done or,
            unless the crew mends, after the last fault has struck.
        built: how the rigs are built and what the weather is at the start.
        start_hour: hour of the day at plant time 0, UTC.
    """

    name: str
    title: str
    plans: tuple[RepairPlan, ...] = (RepairPlan(),)
    faults: tuple[PlannedFault, ...] = ()
    tail_s: float = TAIL_S
    built: RigSettings = RigSettings()
    start_hour: float = 7.0

    @property
    def over_at_s(self) -> float:
        """The scenario is over by then at the latest, s."""
        errands_s = sum(errand.for_s for plan in self.plans for errand in plan.errands)
        return errands_s + sum(plan.hold_s_max + BESIDES_HOLD_S_MAX for plan in self.plans)

    @property
    def crew_mends(self) -> bool:
        """The crew mends what breaks and goes on."""
        return all(plan.mends_after_s is not None for plan in self.plans)


def tail_after_s(fault: Fault, built: RigSettings) -> float:
    """How long a scenario goes on after this fault has struck, s."""
    deadline_s = fault.deadline_s(built)
    return TAIL_S + (deadline_s if math.isfinite(deadline_s) else 0.0)
