"""The pads are fitted cold."""

from dataclasses import replace
from typing import ClassVar

from simulator.crew import Crew, RepairPlan, Skip, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import boiling_c, rise_s
from simulator.plant import Rig, RigSettings


class FittedCold(Fault):
    """A cold pad sweats, and its damp is shut in between pad and rubber.

    Deadline: it does no harm until it boils, at 100 °C where nothing presses yet
    (IAPWS). Before that the pads have to be carried and pinned, 14 min by plan,
    and to rise from the air's temperature to 100 °C: 18 kJ/K times 80 K by 1600 W
    less some loss, 16 min. In all 30 min.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.fitted_outside_preheat",)
    harm: ClassVar[str] = "steam between pad and rubber marks and opens the surface"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.habits"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.WAIT)

    def deadline_s(self, built: RigSettings) -> float:
        """The mounting by plan, then the pads' rise to where water boils."""
        return RepairPlan().mount_s + rise_s(built, built.ambient_c, boiling_c(0.0))

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Forget the preheat."""
        crew.habits = replace(crew.habits, skips=crew.habits.skips | {Skip.PREHEAT})

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Remember it."""
        crew.habits = crew.plan.habits
