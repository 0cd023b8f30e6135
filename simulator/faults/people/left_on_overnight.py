"""The permit relay is bridged and everyone goes home, pads at temperature."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import (
    CURE_SPARE_MIN,
    REVERTS_MIN,
    WORKING_C,
    reversion_s,
    top_c,
)
from simulator.plant import Rig, RigSettings


class LeftOnOvernight(Fault):
    """A cure that nothing ends.

    Deadline: rubber of the invented compound reverts after five hours' worth at
    140 °C (activation energy 90 kJ/mol). Twenty minutes into the hold the face has
    had 20 of its 300 min, and at most a quarter of an hour's worth before; the
    rest takes 3.9 h at the warmest that a thermostat and its knob may be off.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.heat_after_cutoff", "run.overrun", "cure.over")
    harm: ClassVar[str] = "the rubber reverts; heat stands unwatched through the night"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.permit", "crew.away"})
    onset: ClassVar[Onset] = Onset(1200.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The rest of what the rubber bears, at the pads' warmest."""
        spent_min = self.onset.after_s / 60 + CURE_SPARE_MIN
        return reversion_s(top_c(built, WORKING_C), spent_min=spent_min)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The most cured spot has reverted."""
        return rig.cured.most_min >= REVERTS_MIN

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Bridge the relay and go."""
        rig.electrics.permit_bridged = True
        crew.away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back and take the bridge out."""
        rig.electrics.permit_bridged = False
        crew.away = False
