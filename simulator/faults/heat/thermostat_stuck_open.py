"""A thermostat's contact no longer closes: its pad goes cold."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.pads import ThermostatState
from simulator.plant import Rig, RigSettings


class ThermostatStuckOpen(Fault):
    """One pad cools in mid-hold while the other works on.

    Deadline: the pad falls to 120 °C, below which the hold does not count (common
    practice, no source). Ten minutes into the hold the rubber, still cold inside, takes
    685 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18 kJ/K are
    there in some 4.5 min, later with less of either. From then on each minute is one of
    missing cure, and whoever goes by the clock opens the repair too early.

    Attributes:
        pad: which.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.undertemperature", "pad.mismatch")
    harm: ClassVar[str] = "the repair misses cure on one side and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat"})

    pad: Side = "outer"

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, self.pad)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hold the contact open."""
        rig.pads[self.pad].thermostat.state = ThermostatState.STUCK_OPEN

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the thermostat."""
        rig.pads[self.pad].thermostat.state = ThermostatState.WORKS
