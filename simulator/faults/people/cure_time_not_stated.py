"""Nobody has stated the data sheet's time."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import WORKING_C, reversion_s, top_c
from simulator.plant import Rig, RigSettings


class CureTimeNotStated(Fault):
    """A cure whose end nobody knows.

    Deadline: rubber of the invented compound reverts after 5 h at 140 °C
    (activation energy 90 kJ/mol), at the thermostats' warmest after 4.5 h, counted
    as if the pads were hot at once;
    by then at the latest someone has to have said when heat ends. Who asks at the
    heat-up spoils nothing.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.time_not_set",)
    harm: ClassVar[str] = "the repair is cured too little or too long by guess"
    touches: ClassVar[frozenset[str]] = frozenset({"papers"})
    onset: ClassVar[Onset] = Onset(0.0)

    def deadline_s(self, built: RigSettings) -> float:
        """What the rubber bears at the pads' warmest."""
        return reversion_s(top_c(built, WORKING_C))

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leave it out."""
        rig.papers.no_cure_time = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """State it."""
        rig.papers.no_cure_time = False
