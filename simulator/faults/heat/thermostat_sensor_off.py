"""A thermostat's own sensor comes out of its pocket and hangs in the air."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import BLOWS_C, hottest_pad_c, runaway_s
from simulator.plant import Rig, RigSettings


class ThermostatSensorOff(Fault):
    """The thermostat feels the air, calls for heat, and never has enough.

    Deadline: a runaway as of a stuck contact, at once, for the air cools the
    sensor below the setting within seconds: about 5 min to 160 °C, where rubber
    blows (common practice, no source), by the pad's power and mass.

    Attributes:
        pad: which.
        seated_share: how much of the pad's warmth it still feels.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    harm: ClassVar[str] = "the rubber under the pad blows"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat"})

    pad: Side = "inner"
    seated_share: float = Field(default=0.2, ge=0.0, le=0.6)

    def deadline_s(self, built: RigSettings) -> float:
        """The pad's rise to where rubber blows, by its own power and mass."""
        return runaway_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is hot enough to blow the rubber."""
        return hottest_pad_c(rig, self.pad) >= BLOWS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hang it in the air."""
        rig.pads[self.pad].thermostat.sensor_share = self.seated_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Seat it again and reset the cut-out."""
        rig.pads[self.pad].thermostat.sensor_share = 1.0
        rig.pads[self.pad].cutout_ok = True
