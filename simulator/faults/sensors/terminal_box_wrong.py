"""The sun on the terminal box, and a compensation that does not follow."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import misjudged_s
from simulator.plant import Rig, RigSettings


class TerminalBoxWrong(Fault):
    """All thermocouples read high together, so they agree with one another.

    Deadline: the thermostats hold the pads, so what goes wrong is the judgement.
    By Arrhenius with 90 kJ/mol pads read 12 °C too high are credited with twice
    the cure. 15 min of credit that is not there, a tenth of a hold of 150 min and
    all that can be spared (common practice, no source), have gathered after
    about 14 min.

    Attributes:
        error_c: of the compensation, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    harm: ClassVar[str] = "a repair that misses cure is passed as good"
    touches: ClassVar[frozenset[str]] = frozenset({"box"})

    error_c: float = Field(default=12.0, ge=10.0, le=20.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The time to more false credit than can be spared."""
        return misjudged_s(self.error_c, 0.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Lead astray."""
        rig.box.error_c = self.error_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Shade the box, change the module."""
        rig.box.error_c = 0.0
