"""The rig was never commissioned."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import CURES_FROM_C, rise_s
from simulator.plant import Rig, RigSettings


class RigNotCommissioned(Fault):
    """Whether the permit takes heat away, and the horn sounds, nobody has tried.

    Deadline: it can be put right until heat has changed the rubber, from 120 °C
    under the pad (common practice, no source). From the air's temperature a pad of
    18 kJ/K is there after 20 min of 1600 W less some loss, with no time for
    carrying and mounting.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.not_commissioned",)
    harm: ClassVar[str] = "what is to protect has never been tried"
    touches: ClassVar[frozenset[str]] = frozenset({"papers.not_commissioned"})
    onset: ClassVar[Onset] = Onset(0.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise from cold to where rubber cures."""
        return rise_s(built, built.ambient_c, CURES_FROM_C)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leave it out."""
        rig.papers.not_commissioned = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Commission it."""
        rig.papers.not_commissioned = False
