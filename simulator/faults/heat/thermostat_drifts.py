"""A thermostat's own sensor comes to read low, over hours: the pad gets too hot."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import BLOWS_C, WORKING_C, hottest_pad_c, top_c
from simulator.plant import Rig, RigSettings


class ThermostatDrifts(Fault):
    """The pad creeps upward and its display says that all is well.

    Deadline: the pad follows its thermostat, so it blows the rubber (160 °C,
    common practice, no source) once the drift has eaten the 20 °C above the
    working 140 °C, less switching and knob: 18 / 30 h = 36 min at 30 °C/h. What
    the rubber reverts by on the way is less: at 90 kJ/mol 160 °C ages it only
    three times as fast as 140 °C.

    Attributes:
        pad: which.
        c_per_h: how fast its sensor sinks, °C/h.
        ends_lower_c: how far, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature", "pad.mismatch")
    harm: ClassVar[str] = "the rubber under the pad blows"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat"})

    pad: Side = "outer"
    c_per_h: float = Field(default=30.0, ge=12.0, le=120.0)
    ends_lower_c: float = Field(default=40.0, ge=25.0, le=60.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The drift's way from the working temperature to where rubber blows."""
        return (BLOWS_C - top_c(built, WORKING_C)) / self.c_per_h * 3600

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad is hot enough to blow the rubber."""
        return hottest_pad_c(rig, self.pad) >= BLOWS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Drift on."""
        lower_c = min(self.ends_lower_c, self.c_per_h * since_s / 3600)
        rig.pads[self.pad].thermostat.error_c = -lower_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the thermostat and reset the cut-out."""
        rig.pads[self.pad].thermostat.error_c = 0.0
        rig.pads[self.pad].cutout_ok = True
