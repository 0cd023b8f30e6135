"""The crew is in a hurry and takes the pads off hot, with bare hands."""

from dataclasses import replace
from typing import ClassVar

from simulator.crew import Crew, Skip, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import emptying_s, hottest_pad_c
from simulator.faults.pressing import lowest_kpa
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings

BURNS_IN_A_MINUTE_C = 51.0  # ISO 13732-1, from memory
EMPTY_KPA = 2.0  # what a gauge shows as nothing
HURRIES_PACE = 0.4


class TakesOffHot(Fault):
    """Cool enough to open is not cool enough to touch.

    Deadline: the crew opens below 70 °C. As soon as the gauges show 2 kPa its hands
    are on the pads, and metal at 51 °C burns within a minute (ISO 13732-1, from
    memory). A 20 litre bag is down to 2 kPa through 0.05 dm³/(s bar) in some
    6 min at the least; someone must know that the pads are hot by then.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.hot_to_touch",)
    harm: ClassVar[str] = "hands are burnt"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.habits"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.LET_DOWN)

    def deadline_s(self, built: RigSettings) -> float:
        """The bags' way down to where the hands come."""
        return emptying_s(
            built.bag.volume_l,
            built.bag.exhaust_dm3_s_bar,
            lowest_kpa(built),
            EMPTY_KPA,
            gas_c=built.ambient_c,
            exponent=1.4,
        )

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Hands in a hurry are on a pad that burns within a minute."""
        hottest_c = max(hottest_pad_c(rig, side) for side in SIDES)
        bare_hands = crew.stage is Stage.TAKE_OFF and Skip.FEEL_SOFT in crew.habits.skips
        return bare_hands and hottest_c >= BURNS_IN_A_MINUTE_C

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hurry."""
        skips = crew.habits.skips | {Skip.FEEL_SOFT}
        crew.habits = replace(crew.habits, skips=skips, pace=HURRIES_PACE)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put on gloves and take the time it takes."""
        crew.habits = crew.plan.habits
