"""Someone turns the thermostats' knob up to be home sooner."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BLOWS_C, hottest_pad_c, runaway_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class ThermostatSetHigh(Fault):
    """Both pads go to the new setting, and obey.

    Deadline: until they are there nothing tells them from a runaway: about
    5 min from 140 to 160 °C, where rubber blows (common practice, no source),
    by the pads' power and mass.

    Attributes:
        set_c: where the knob is left, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.overtemperature",)
    harm: ClassVar[str] = "the rubber under both pads blows"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.set_c"})
    onset: ClassVar[Onset] = Onset(1800.0, Stage.HOLD)

    set_c: float = Field(default=165.0, ge=162.0, le=200.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise to where rubber blows, by their own power and mass."""
        return runaway_s(built)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is hot enough to blow the rubber."""
        return max(hottest_pad_c(rig, side) for side in SIDES) >= BLOWS_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn it up, once; whoever turns it down again has turned it down."""
        if since_s < 1.0:
            rig.controls.set_c = self.set_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Turn it back and reset the cut-outs."""
        rig.controls.set_c = crew.plan.set_c
        for pad in rig.pads.values():
            pad.cutout_ok = True
