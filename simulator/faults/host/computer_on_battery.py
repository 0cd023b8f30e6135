"""The supervisor's computer has lost its own supply and runs from its battery."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig, RigSettings


class ComputerOnBattery(Fault):
    """It works on, for as long as the battery lasts.

    Deadline: 12 V and 7 Ah are 84 Wh, of which a small computer with its modules
    takes some 20 W: 4 h new and 30 min once the battery is old
    (from memory). Then nobody looks. Someone must know while there is time.

    Attributes:
        lasts_s: what the battery has left.
    """

    wakes: ClassVar[tuple[str, ...]] = ("supervisor.on_battery", "run.interrupted")
    harm: ClassVar[str] = "nobody looks once the battery is flat"
    touches: ClassVar[frozenset[str]] = frozenset({"host.on_battery", "host.down"})

    lasts_s: float = Field(default=1800.0, ge=300.0, le=14400.0)

    def deadline_s(self, built: RigSettings) -> float:
        """What the battery has left."""
        return self.lasts_s

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The battery is flat and nobody looks."""
        return rig.host.down

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Run from it until it is flat."""
        rig.host.on_battery = True
        rig.host.down = since_s >= self.lasts_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Plug it in."""
        rig.host.on_battery = False
        rig.host.down = False
