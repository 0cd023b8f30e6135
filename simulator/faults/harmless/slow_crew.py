"""A careful crew takes half as long again over everything."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Onset
from simulator.plant import Rig


class SlowCrew(Disturbance):
    """New people, first day at the rig.

    No harm: pads carried for 20 min instead of 14 lose some 8 K more, out of the
    bags' reach: nothing is hot that is not pressed.

    Attributes:
        factor: on all handwork.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"crew.slow_factor"})
    onset: ClassVar[Onset] = Onset(0.0)

    factor: float = Field(default=1.5, ge=1.1, le=1.8)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Take the time it takes."""
        crew.slow_factor = self.factor

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be as ever."""
        crew.slow_factor = 1.0
