"""Someone turns the thermostats' knob down in the hold."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class KnobTurnedLow(Fault):
    """Both pads sink to the new setting, and obey.

    Deadline: below 120 °C at the pad the hold does not count (common practice, no
    source). A pad of 18 kJ/K, losing some 5 W/K and giving the rubber what it still
    takes an hour and a half into the hold, is there after 7 min. From then on each
    minute is one of missing cure, and whoever goes by the clock opens too early.

    Attributes:
        set_c: where the knob is left, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.undertemperature", "cure.short")
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.set_c"})
    onset: ClassVar[Onset] = Onset(5400.0, Stage.HOLD)

    set_c: float = Field(default=112.0, ge=60.0, le=116.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn it down, once."""
        if since_s < 1.0:
            rig.controls.set_c = self.set_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Turn it up again."""
        rig.controls.set_c = crew.plan.set_c
