"""A thermocouple is shorted: its module reads a short circuit."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.plant import Rig
from simulator.sensors import Failure


class ThermocoupleShort(Fault):
    """A crushed lead: one pad heats unseen.

    Deadline: the thermostat still works, so nothing is hot yet; but a second
    fault would go unseen, and from 140 °C a stuck thermostat needs 318 s to
    160 °C (see `thermostat_stuck`). Heat must be off before.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor",)
    deadline_s: ClassVar[float] = 318.0

    pad: Side = "inner"

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.SHORT

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the lead."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.NONE
