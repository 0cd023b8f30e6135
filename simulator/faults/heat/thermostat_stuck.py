"""A thermostat's contact sticks closed while the contactor still obeys."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.pads import ThermostatState
from simulator.plant import Rig


class ThermostatStuck(Fault):
    """Runaway heating of one pad.

    Deadline: at 140 °C the 1600 W heater faces some 470 W of loss, so the pad
    of 18 kJ/K gains at most 1130 / 18000 = 0.063 °C/s. It needs at least
    20 / 0.063 = 318 s to 160 °C, where natural rubber starts to revert within
    minutes (common practice, no source). Heat must be off before.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    deadline_s: ClassVar[float] = 318.0

    pad: Side = "inner"

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hold the contact closed."""
        rig.pads[self.pad].thermostat.state = ThermostatState.STUCK_CLOSED

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Free the contact and reset the cut-out."""
        rig.pads[self.pad].thermostat.state = ThermostatState.WORKS
        rig.pads[self.pad].cutout_ok = True
