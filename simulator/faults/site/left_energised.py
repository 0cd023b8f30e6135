"""At the end of the day the supply is left on and a pad plugged in."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BENCH_CHARS_C, rise_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class LeftEnergised(Fault):
    """Nobody is there, and one contact is all that keeps a pad cold.

    Deadline: the contact that welds or is bridged next heats a pad on the bench
    with its knob left where it was. From the air's temperature its own power has
    it at 120 °C, where wood and cotton char (from memory), in 18 kJ/K times 100 K
    over 1600 W less some loss, 20 min or so. The last one out must hear it before.
    """

    wakes: ClassVar[tuple[str, ...]] = ("site.energised_at_end_of_day",)
    harm: ClassVar[str] = "the bench catches fire in the night"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.supply", "controls.set_c"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.HOME)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise from cold to where a bench chars."""
        return rise_s(built, built.ambient_c, BENCH_CHARS_C)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leave it on, plugged in and turned up."""
        rig.electrics.supply_switch_on = True
        rig.controls.set_c = crew.plan.set_c
        for side in SIDES:
            rig.controls.plugged[side] = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back, turn it off and pull the plugs."""
        rig.electrics.supply_switch_on = False
        rig.controls.set_c = None
        for side in SIDES:
            rig.controls.plugged[side] = False
