"""Rain drips through the roof onto the clamp."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class RainOnClamp(Disturbance):
    """The clamp and the pads' backs lose more, for half an hour.

    No harm: water cools by what it takes to dry, here as if the air were 4 K
    colder and every loss two and a half times as large: some 750 W more from a pad
    at 140 °C, which then needs 1300 of its 1600 W and stays in its band.

    Attributes:
        factor: on every loss to air.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"surroundings"})

    factor: float = Field(default=2.2, ge=1.2, le=2.5)
    lasts_s: float = Field(default=1800.0, ge=60.0, le=3600.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Rain, and be over."""
        rains = since_s < self.lasts_s
        rig.surroundings.draught = self.factor if rains else 1.0
        rig.surroundings.ambient_c = rig.settings.ambient_c - (4.0 if rains else 0.0)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Stop."""
        rig.surroundings.draught = 1.0
        rig.surroundings.ambient_c = rig.settings.ambient_c
