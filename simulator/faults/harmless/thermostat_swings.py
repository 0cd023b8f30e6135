"""A lazy thermostat lets its pad swing wider than it should."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Side
from simulator.plant import Rig


class ThermostatSwings(Disturbance):
    """The pad goes up and down by some degrees every ten minutes.

    No harm: 3 K up and down about 140 °C are 18 % more and 15 % less cure by turns
    (90 kJ/mol), about 1 % in the mean, and the rubber under the pad smooths them to
    less than one: a wave of ten minutes dies away in sqrt(alpha t / pi) = 5 mm.

    Attributes:
        pad: which.
        swing_c: to either side.
        period_s: of one swing.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"pad.thermostat"})

    pad: Side = "inner"
    swing_c: float = Field(default=2.5, ge=1.0, le=3.0)
    period_s: float = Field(default=600.0, ge=240.0, le=1200.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Swing."""
        up = since_s % self.period_s < self.period_s / 2
        rig.pads[self.pad].thermostat.error_c = -self.swing_c if up else self.swing_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Clean its contact."""
        rig.pads[self.pad].thermostat.error_c = 0.0
