"""At the end of the day a pad is left plugged in, and the supply on."""

from dataclasses import replace
from typing import ClassVar

from simulator.crew import Crew, RepairPlan, Skip, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BENCH_CHARS_C, rise_s
from simulator.plant import Rig, RigSettings


class LeftEnergised(Fault):
    """Nobody is there, and one contact is all that keeps a pad cold.

    Deadline: the contact that welds or is bridged next heats a pad on the bench.
    From the air's temperature its own power has it at 120 °C, where wood and cotton
    char (from memory), in 18 kJ/K times 100 K over 1600 W less some loss, 20 min;
    5 min of taking off go before. The last one out must hear it within 25 min.
    """

    wakes: ClassVar[tuple[str, ...]] = ("site.energised_at_end_of_day",)
    harm: ClassVar[str] = "the bench catches fire in the night"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.habits"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.TAKE_OFF)

    def deadline_s(self, built: RigSettings) -> float:
        """The taking off, then the pads' rise from cold to where a bench chars."""
        return RepairPlan().take_off_s + rise_s(built, built.ambient_c, BENCH_CHARS_C)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Forget to switch off and to pull the plugs."""
        crew.habits = replace(crew.habits, skips=crew.habits.skips | {Skip.SWITCH_OFF})

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Remember it, and come back if it is too late for that."""
        crew.habits = crew.plan.habits
        if crew.at_home:
            rig.controls.plugged = dict.fromkeys(rig.controls.plugged, False)
