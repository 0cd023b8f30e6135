"""The crew takes the hold for over and lets the repair cool."""

from typing import ClassVar

from simulator.crew import Crew, RepairPlan, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import CURE_SPARE_MIN, HOLD_S
from simulator.faults.pressing import cools_s
from simulator.plant import Rig, RigSettings


class HoldCutShort(Fault):
    """Two fifths of the hold have gone by, and it is home time.

    Deadline: missing minutes can be made up until the repair is opened. The crew
    opens once the displays are below 70 °C; the pads alone, 18 kJ/K losing some
    4 W/K, would be there in about 55 min.
    """

    wakes: ClassVar[tuple[str, ...]] = ("cure.short",)
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.stage", "controls.set_c"})
    onset: ClassVar[Onset] = Onset(3600.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the crew opens, with no rubber to warm them."""
        return cools_s(built, RepairPlan().cool_below_c)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The repair is being opened after more of the hold is missing than can be spared."""
        if crew.stage not in {Stage.LET_DOWN, Stage.FEEL_SOFT, Stage.TAKE_OFF}:
            return False
        began_at_s = crew.began_at_s
        held_s = began_at_s[crew.repair, Stage.COOL] - began_at_s[crew.repair, Stage.HOLD]
        return held_s + CURE_SPARE_MIN * 60 < HOLD_S

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Take it for over, once, turn off and go on from there."""
        if since_s < 1.0 and crew.stage is Stage.HOLD:
            crew.stage = Stage.COOL
            crew.began_at_s[crew.repair, Stage.COOL] = rig.now_s
            rig.controls.set_c = None

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Go on with the hold, if it is not opened yet."""
        if crew.stage is Stage.COOL:
            crew.stage = Stage.HOLD
            del crew.began_at_s[crew.repair, Stage.COOL]
            rig.controls.set_c = crew.plan.set_c
