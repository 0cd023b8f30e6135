"""The thermal cut-out was bridged long ago; now the thermostat sticks closed."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import BLOWS_C, hottest_pad_c, runaway_s
from simulator.pads import ThermostatState
from simulator.plant import Rig, RigSettings


class CutoutBridged(Fault):
    """A runaway that nothing on the rig itself will end.

    Deadline: as of a stuck thermostat, about 5 min from 140 to 160 °C (common
    practice, no source). But where the cut-out would have ended that, this one
    goes on by 0.04 °C/s or so to where rubber smokes and burns; a second
    barrier is gone, not a minute of the time.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    harm: ClassVar[str] = "the rubber blows, then burns"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat", "pad.cutout"})

    pad: Side = "outer"

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's rise to where rubber blows, by its own power and mass."""
        return runaway_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is hot enough to blow the rubber."""
        return hottest_pad_c(rig, self.pad) >= BLOWS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Bridge the one, hold the other closed."""
        rig.pads[self.pad].cutout_bridged = True
        rig.pads[self.pad].thermostat.state = ThermostatState.STUCK_CLOSED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Take the bridge out, free the contact, reset the cut-out."""
        rig.pads[self.pad].cutout_bridged = False
        rig.pads[self.pad].cutout_ok = True
        rig.pads[self.pad].thermostat.state = ThermostatState.WORKS
