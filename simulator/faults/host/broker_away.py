"""The message broker cannot be reached."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import seeps_away_s
from simulator.plant import Rig, RigSettings


class BrokerAway(Fault):
    """Whoever is not at the rig hears nothing more of it.

    Deadline: nothing is wrong at the rig. But a bag whose coupling begins to seep
    45 kPa an hour at the same time is at 150 kPa gauge in 79 min
    (see `slow_leak`); who would have been told must know by then that he will not
    be told.
    """

    wakes: ClassVar[tuple[str, ...]] = ("broker.offline",)
    harm: ClassVar[str] = "who is called does not hear it"
    touches: ClassVar[frozenset[str]] = frozenset({"host.broker_away"})

    def deadline_s(self, built: RigSettings) -> float:
        """The fall of a bag that begins to seep at the same time."""
        return seeps_away_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be away."""
        rig.host.broker_away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back."""
        rig.host.broker_away = False
