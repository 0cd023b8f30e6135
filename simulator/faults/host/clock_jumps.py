"""The wall clock of the supervisor's computer jumps."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import cooling_s
from simulator.plant import Rig, RigSettings


class ClockJumps(Fault):
    """The hold is ten minutes old and the clock says it is over.

    Deadline: whoever goes by that clock, man or machine, takes the heat away now. A
    pad of 18 kJ/K, losing some 5 W/K and more to rubber that is cold inside, then
    falls from 140 to 120 °C, below which the hold does not count (common practice,
    no source), in 4.5 min. By then
    the jump must be known for what it is.

    Attributes:
        step_s: forward, or back where below 0.
    """

    wakes: ClassVar[tuple[str, ...]] = ("clock.jump",)
    harm: ClassVar[str] = "the hold is ended, or drawn out, by a clock that is wrong"
    touches: ClassVar[frozenset[str]] = frozenset({"host.clock_step_s"})

    step_s: float = Field(default=7200.0, ge=-86_400.0, le=86_400.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall, once heat is off, to where the hold no longer counts."""
        return cooling_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Jump."""
        rig.host.clock_step_s = self.step_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Set it right."""
        rig.host.clock_step_s = 0.0
