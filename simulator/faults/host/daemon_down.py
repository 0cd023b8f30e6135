"""The supervisor's computer is down for a while, in mid-run."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings


class DaemonDown(Fault):
    """Nobody looks, and then somebody does who has missed a part.

    Deadline: blind, it cannot see a runaway, and from the working 140 °C a stuck
    thermostat needs some 5 min to 160 °C, where rubber blows (see
    `thermostat_stuck`). Heat must be off before, by itself; and after, the gap told.

    Attributes:
        down_s: how long.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.interrupted",)
    harm: ClassVar[str] = "nobody looks while heat is on"
    touches: ClassVar[frozenset[str]] = frozenset({"host.down"})

    down_s: float = Field(default=120.0, ge=5.0, le=3600.0)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway that begins at the same time, or the gap's end if that is later."""
        return max(runaway_s(built), self.down_s)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be down, and up again."""
        rig.host.down = since_s < self.down_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be up."""
        rig.host.down = False
