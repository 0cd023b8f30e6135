"""A thermostat's contact sticks closed while the contactor still obeys."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import BLOWS_C, hottest_pad_c, runaway_s
from simulator.pads import ThermostatState
from simulator.plant import Rig, RigSettings


class ThermostatStuck(Fault):
    """Runaway heating of one pad.

    Deadline: all of the heater's power goes into the pad, less what it loses with the
    clamp behind it as warm as it ever gets. 1600 W into 18 kJ/K and some 540 W lost is
    0.06 °C/s: about 5 min from the working 140 °C to 160 °C, where rubber blows and its
    surface reverts (common practice, no source). The rubber takes heat too, and only
    gives more time.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    harm: ClassVar[str] = "the rubber under the pad blows"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat"})

    pad: Side = "inner"

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's rise to where rubber blows, by its own power and mass."""
        return runaway_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is hot enough to blow the rubber."""
        return hottest_pad_c(rig, self.pad) >= BLOWS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hold the contact closed."""
        rig.pads[self.pad].thermostat.state = ThermostatState.STUCK_CLOSED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Free the contact and reset the cut-out."""
        rig.pads[self.pad].thermostat.state = ThermostatState.WORKS
        rig.pads[self.pad].cutout_ok = True
