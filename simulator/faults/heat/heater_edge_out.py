"""The elements along the edge of one pad are burnt out."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import cold_rim_in_hold, rim_cooling_s
from simulator.plant import Rig, RigSettings


class HeaterEdgeOut(Fault):
    """The middle stays at temperature and the rim of the repair does not cure.

    Deadline: the rim of the pad, a third of its 18 kJ/K, rests at some 135 °C and loses
    2 W/K to the air, and to rubber that an hour into the hold is still cold inside; the
    middle lends it 12 W/K. In 4 min it is at 126 °C, where by Arrhenius with 90 kJ/mol
    a minute is worth two fifths of one: no hold cures the rim then without overdoing
    the middle. Thermostat and thermocouple sit in the middle: only the heater's current
    and a slower heat-up tell.

    Attributes:
        pad: which.
        left_share: of the edge's elements.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.not_heating",)
    harm: ClassVar[str] = "the rim of the repair misses cure and peels on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"pad.heater"})
    onset: ClassVar[Onset] = Onset(3600.0, Stage.HOLD)

    pad: Side = "inner"
    left_share: float = Field(default=0.0, ge=0.0, le=0.2)

    def deadline_s(self, built: RigSettings) -> float:
        """The rim's fall to where the hold no longer counts."""
        return rim_cooling_s(built, into_hold_s=self.onset.after_s, left_share=self.left_share)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The pad's rim is too cold for the hold to count."""
        return cold_rim_in_hold(rig, crew, self.pad)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Burn out."""
        rig.pads[self.pad].edge_heater_share = self.left_share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the pad."""
        rig.pads[self.pad].edge_heater_share = 1.0
