"""A thermocouple's lead lies along a motor's: its reading is all noise."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings


class ThermocoupleNoisy(Fault):
    """One pad is seen as through a storm.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.

    Attributes:
        pad: which.
        noise_factor: times the sound noise.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor",)
    harm: ClassVar[str] = "a runaway goes unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(2200.0, Stage.HOLD)

    pad: Side = "inner"
    noise_factor: float = Field(default=120.0, ge=80.0, le=300.0)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hum."""
        rig.instruments[f"pad_{self.pad}_c"].noise_factor = self.noise_factor

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Lay the lead elsewhere."""
        rig.instruments[f"pad_{self.pad}_c"].noise_factor = 1.0
