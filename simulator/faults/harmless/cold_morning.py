"""A cold morning: the yard is much colder than the rig was built for."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Onset
from simulator.plant import Rig


class ColdMorning(Disturbance):
    """Everything loses more and takes longer.

    No harm: 20 K colder take some 80 W more from a pad at 140 °C, of 1600 W; the
    thermostat gives them. The bags' air is colder by 55 % of it, 11 K of 340, which
    a regulator makes up as it comes, and the pads are preheated as ever.

    Attributes:
        colder_c: than what the rig was built for, K.
        coldest_c: but not colder than this, °C.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"surroundings"})
    onset: ClassVar[Onset] = Onset(0.0)

    colder_c: float = Field(default=20.0, ge=5.0, le=35.0)
    coldest_c: float = Field(default=-15.0, ge=-15.0, le=10.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be cold."""
        rig.surroundings.ambient_c = max(self.coldest_c, rig.settings.ambient_c - self.colder_c)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be as ever."""
        rig.surroundings.ambient_c = rig.settings.ambient_c
