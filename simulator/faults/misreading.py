"""What all faults of one instrument share: what breaks next goes unseen."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import runaway_s, unseen_leak_s
from simulator.plant import Rig, RigSettings
from simulator.sensors import Failure


class BrokenThermocouple(Fault):
    """One pad heats unseen.

    Attributes:
        failure: how its thermocouple fails.
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor",)
    harm: ClassVar[str] = "a runaway goes unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    failure: ClassVar[Failure]

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it."""
        rig.instruments[f"pad_{self.pad}_c"].failure = self.failure

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change or rewire it."""
        rig.instruments[f"pad_{self.pad}_c"].failure = Failure.NONE


class BrokenTransmitter(Fault):
    """One bag's pressure is not known.

    Attributes:
        failure: how its transmitter fails.
        bag: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.sensor",)
    harm: ClassVar[str] = "air is lost unseen"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.bag"})
    failure: ClassVar[Failure]

    bag: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """A leak beside it that could still be stopped, down to where the rubber opens."""
        return unseen_leak_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it."""
        rig.instruments[f"bag_{self.bag}_kpa"].failure = self.failure

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change or rewire it."""
        rig.instruments[f"bag_{self.bag}_kpa"].failure = Failure.NONE
