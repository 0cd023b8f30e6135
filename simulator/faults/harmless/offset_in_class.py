"""A thermocouple is off, within its class."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Onset, Side
from simulator.plant import Rig


class OffsetInClass(Disturbance):
    """As good as it was bought.

    No harm: class 1 of type K allows 1.5 K at 140 °C (IEC 60584-1, from memory),
    which is 9 % of the rate of cure (90 kJ/mol), less than a hold can spare.

    Attributes:
        pad: whose.
        offset_c: too high, or too low where below 0.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(0.0)

    pad: Side = "outer"
    offset_c: float = Field(default=-1.5, ge=-1.5, le=1.5)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be off."""
        rig.instruments[f"pad_{self.pad}_c"].offset = self.offset_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be right."""
        rig.instruments[f"pad_{self.pad}_c"].offset = 0.0
