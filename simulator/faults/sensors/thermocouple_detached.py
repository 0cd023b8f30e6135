"""A thermocouple slips out of its pad and hangs in the air."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings


class ThermocoupleDetached(Fault):
    """The pad looks cold and is not.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    Whoever believes the cold reading and turns up the knob makes that runaway
    by hand.

    Attributes:
        pad: which.
        detached_share: how much of it hangs in the air.
    """

    wakes: ClassVar[tuple[str, ...]] = (
        "pad.mismatch",
        "pad.undertemperature",
        "pad.not_heating",
        "pad.sensor",
    )
    harm: ClassVar[str] = "a runaway goes unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(1800.0, Stage.HOLD)

    pad: Side = "outer"
    detached_share: float = Field(default=0.8, ge=0.4, le=1.0)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Slip out."""
        rig.instruments[f"pad_{self.pad}_c"].detached_share = self.detached_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Push it home."""
        rig.instruments[f"pad_{self.pad}_c"].detached_share = 0.0
