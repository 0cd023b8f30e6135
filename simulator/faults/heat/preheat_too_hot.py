"""The preheat is set too hot, and the crew is about to carry the pads."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BURNS_AT_ONCE_C, PREHEAT_C, hottest_pad_c, rise_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class PreheatTooHot(Fault):
    """Hands take hold of pads that burn at a touch.

    Deadline: from the 60 °C set for the preheat to 65 °C, where a second's
    touch of bare metal burns (ISO 13732-1, from memory): 18 kJ/K by 1600 W less
    some loss, in 40 s. The crew takes them when the preheat is over, here
    some two minutes after the knob was turned.

    Attributes:
        set_c: where the knob stands, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.hot_to_touch", "run.fitted_outside_preheat")
    harm: ClassVar[str] = "hands are burnt; the rubber scorches before it is pressed"
    touches: ClassVar[frozenset[str]] = frozenset({"controls.set_c"})
    onset: ClassVar[Onset] = Onset(1080.0, Stage.PREHEAT)

    set_c: float = Field(default=82.0, ge=78.0, le=95.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise to where a touch burns."""
        return rise_s(built, PREHEAT_C, BURNS_AT_ONCE_C)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The crew has hold of a pad that burns at a touch."""
        hottest_c = max(hottest_pad_c(rig, side) for side in SIDES)
        return crew.stage is Stage.MOUNT and hottest_c >= BURNS_AT_ONCE_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Turn up the knob, once."""
        if since_s < 1.0:
            rig.controls.set_c = self.set_c

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Turn it back."""
        rig.controls.set_c = crew.plan.preheat_c
