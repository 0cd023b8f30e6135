"""Somebody knocks against a gauge's tap."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Side
from simulator.plant import Rig


class GaugeTapKnocked(Disturbance):
    """A bag's pressure jumps on the wire for a second; the bag does not.

    No harm: the knock is on the line to the transmitter, the bag holds.

    Attributes:
        bag: whose.
        by_kpa: how far it jumps.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"instrument.bag"})

    bag: Side = "inner"
    by_kpa: float = Field(default=-12.0, ge=-25.0, le=25.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Jump for one second."""
        rig.instruments[f"bag_{self.bag}_kpa"].offset = self.by_kpa if since_s < 1.0 else 0.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be still."""
        rig.instruments[f"bag_{self.bag}_kpa"].offset = 0.0
