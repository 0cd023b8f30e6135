"""The pads are left on the bench, off the tyre, turned up to the cure's setting."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BENCH_CHARS_C, PREHEAT_C, hottest_pad_c, rise_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class PadOnBench(Fault):
    """Hot pads on wood, rags and paper, with nobody who thinks of them.

    Deadline: wood and cotton against 120 °C char and may smoulder (from memory;
    the low end). From the preheat's 60 °C, 18 kJ/K by 1600 W less some
    loss are there in about 13 min. Whoever takes hold of them burns at once
    above 65 °C (ISO 13732-1, from memory).

    Attributes:
        set_c: where the knob is left, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.heat_without_pressure", "pad.hot_to_touch")
    harm: ClassVar[str] = "the bench catches fire"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.set_c", "crew.away"})
    onset: ClassVar[Onset] = Onset(900.0, Stage.PREHEAT)

    set_c: float = Field(default=140.0, ge=130.0, le=180.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise to where a bench chars."""
        return rise_s(built, PREHEAT_C, BENCH_CHARS_C)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad off the tyre is hot enough to char what it lies on."""
        hottest_c = max(hottest_pad_c(rig, side) for side in SIDES)
        return not rig.controls.mounted and hottest_c >= BENCH_CHARS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn up the knob and go."""
        if since_s < 1.0:
            rig.controls.set_c = self.set_c
        crew.away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back and turn it down to the preheat."""
        rig.controls.set_c = crew.plan.preheat_c
        crew.away = False
