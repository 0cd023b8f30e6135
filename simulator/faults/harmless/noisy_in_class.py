"""A thermocouple is noisy, within its class."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Side
from simulator.plant import Rig


class NoisyInClass(Disturbance):
    """A long lead beside the heaters' own.

    No harm: a standard deviation of 0.4 K on each sample is noise, not warmth;
    class 1 of type K allows 1.5 K at 140 °C (IEC 60584-1, from memory).

    Attributes:
        pad: whose.
        factor: on its own noise of 0.1 K.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})

    pad: Side = "inner"
    factor: float = Field(default=4.0, ge=1.5, le=5.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be noisy."""
        rig.instruments[f"pad_{self.pad}_c"].noise_factor = self.factor

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Lay the lead elsewhere."""
        rig.instruments[f"pad_{self.pad}_c"].noise_factor = 1.0
