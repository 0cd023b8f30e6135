"""Two shifts hand over: minutes without anyone, then somebody else."""

from dataclasses import replace
from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Order
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class ShiftChange(Disturbance):
    """One has gone to wash, the other is not there yet.

    No harm: nothing is broken, and a bag whose coupling begins to seep 45 kPa an
    hour (see `slow_leak`) loses 6 kPa in eight minutes. Who comes looks first.

    Attributes:
        nobody_s: how long.
        pace: of whoever comes.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"crew.away", "crew.habits"})

    nobody_s: float = Field(default=480.0, ge=60.0, le=600.0)
    pace: float = Field(default=1.2, ge=0.8, le=1.4)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be away; then somebody else presses here."""
        crew.away = since_s < self.nobody_s
        if self.nobody_s <= since_s < self.nobody_s + 1.0:
            crew.habits = replace(crew.habits, pace=self.pace)
            crew.orders.append(Order.PRESS_HERE)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be there."""
        crew.away = False
        crew.habits = crew.plan.habits
