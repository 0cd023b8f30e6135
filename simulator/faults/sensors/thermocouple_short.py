"""A thermocouple is shorted: its module reads a short circuit."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.sensors import Failure


class ThermocoupleShort(Fault):
    """A crushed lead: one pad heats unseen.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor",)
    harm: ClassVar[str] = "a runaway goes unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(900.0, Stage.HOLD)

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Crush it."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.SHORT

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the thermocouple."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.NONE
