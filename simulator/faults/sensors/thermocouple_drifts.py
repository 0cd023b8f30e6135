"""A thermocouple ages fast and comes to read high."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import misjudged_s
from simulator.plant import Rig, RigSettings


class ThermocoupleDrifts(Fault):
    """The pad is as warm as ever, the record has it warmer.

    Deadline: the thermostat holds the pad, so what goes wrong is the judgement.
    By Arrhenius with 90 kJ/mol a pad read 10 °C too high is credited with 1.8
    times the cure. Drifting by 30 °C/h, the credit that is not there reaches
    15 min, a tenth of a hold of 150 min and all that can be spared (common
    practice, no source), after 27 min.

    Attributes:
        pad: which.
        c_per_h: how fast.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.mismatch", "pad.sensor")
    harm: ClassVar[str] = "a repair that misses cure is passed as good"
    touches: ClassVar[frozenset[str]] = frozenset({"instrument.pad"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HOLD)

    pad: Side = "inner"
    c_per_h: float = Field(default=30.0, ge=15.0, le=90.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The drift's way to more false credit than can be spared."""
        return misjudged_s(0.0, self.c_per_h)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Age."""
        rig.instruments[f"pad_{self.pad}_c"].drift_per_h = self.c_per_h

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the thermocouple."""
        rig.instruments[f"pad_{self.pad}_c"].drift_per_h = 0.0
