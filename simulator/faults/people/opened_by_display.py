"""The crew lets down as soon as the pads' displays say so."""

from dataclasses import replace
from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.pressing import bag_falls_s, cools_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class OpenedByDisplay(Fault):
    """The pads are cool enough; the middle of the repair is not.

    Deadline: when passively cooling faces reach 100 °C the core of 40 to 60 mm is
    still at 130 to 137 °C (exact series of conduction). The pads alone, 18 kJ/K
    losing 5 W/K, would show 98 °C after some 27 min; then the exhausts let the bags
    down to 150 kPa gauge in a minute, and steam opens the core.

    Attributes:
        opens_at_c: displays below this are taken for safe, °C.
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.hot", "cure.pressure_lost")
    harm: ClassVar[str] = "steam opens the core of the repair"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.habits"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.COOL)

    opens_at_c: float = Field(default=98.0, ge=90.0, le=115.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall with no rubber to warm them, then the bags'."""
        falls_s = bag_falls_s(built, built.bag.exhaust_dm3_s_bar, exponent=1.4)
        return cools_s(built, self.opens_at_c) + falls_s

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Go by the displays."""
        crew.habits = replace(crew.habits, opens_at_c=self.opens_at_c)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Wait as planned; close the exhausts and refill if it was too late."""
        crew.habits = crew.plan.habits
        for valves in rig.controls.valves.values():
            valves.exhaust_open = False
            valves.feed_open = True
