"""A loose terminal: the thermocouple's reading jumps."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.sensors import Failure


class ThermocoupleJumping(Fault):
    """One pad is seen now and then.

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
    onset: ClassVar[Onset] = Onset(1500.0, Stage.HOLD)

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Jump."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.JUMPING

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Tighten the terminal."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.NONE
