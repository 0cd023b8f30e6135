"""The big door stands open for some minutes."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class DoorOpen(Disturbance):
    """Cold air and a draught, for as long as a machine takes to drive in.

    No harm: 15 K less and half as much loss again take some 350 W more from a pad
    at 140 °C, of 1600 W, and it is over before clamp or rubber have felt it: rubber
    of 50 mm answers in L²/alpha, 6 h.

    Attributes:
        colder_c: the air meanwhile, K.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"surroundings"})

    colder_c: float = Field(default=15.0, ge=3.0, le=20.0)
    lasts_s: float = Field(default=300.0, ge=30.0, le=900.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stand open, and be shut."""
        is_open = since_s < self.lasts_s
        rig.surroundings.draught = 1.5 if is_open else 1.0
        rig.surroundings.ambient_c = rig.settings.ambient_c - (self.colder_c if is_open else 0.0)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be shut."""
        rig.surroundings.draught = 1.0
        rig.surroundings.ambient_c = rig.settings.ambient_c
