"""The crew walks off and hears nothing."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import seeps_away_s
from simulator.plant import Rig, RigSettings


class CrewWalksOff(Fault):
    """Nobody is near a hot, pressed repair.

    Deadline: nothing breaks by itself; the next thing that does finds no one. A
    coupling that begins to seep 45 kPa an hour as they leave has its bag at
    150 kPa gauge in 79 min (see `slow_leak`); by then someone must
    be there, or the heat off.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.unattended",)
    harm: ClassVar[str] = "what breaks next finds nobody"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.away"})

    def deadline_s(self, built: RigSettings) -> float:
        """The fall of a bag that begins to seep as they leave."""
        return seeps_away_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be away."""
        crew.away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back."""
        crew.away = False
