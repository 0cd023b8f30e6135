"""A thermocouple was changed in the pause and its wires are crossed."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.sensors import Failure


class ThermocoupleReversed(Fault):
    """The hotter the pad, the colder it looks.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor", "pad.not_heating")
    harm: ClassVar[str] = "a runaway goes unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.AIR_UP)

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Cross the wires."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.REVERSED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Uncross them."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.NONE
