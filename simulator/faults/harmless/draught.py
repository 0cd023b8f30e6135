"""A draught through the shop."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class Draught(Disturbance):
    """All surfaces lose half as much again, or twice as much, for a while.

    No harm: a pad at 140 °C loses some 500 W more at twice the loss and has
    1600 W; its thermostat stays in its band. The bag lies behind the clamp.

    Attributes:
        factor: on every loss to air.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"surroundings"})

    factor: float = Field(default=2.0, ge=1.2, le=2.5)
    lasts_s: float = Field(default=1800.0, ge=60.0, le=7200.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Blow, and be over."""
        rig.surroundings.draught = self.factor if since_s < self.lasts_s else 1.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be over."""
        rig.surroundings.draught = 1.0
