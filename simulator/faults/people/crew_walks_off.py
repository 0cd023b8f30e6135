"""The crew walks off and hears nothing."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig


class CrewWalksOff(Fault):
    """Nobody is near a hot, pressed repair.

    Deadline: nothing breaks by itself; the next thing that does finds no one.
    A working day's shortest break is some 15 min, its longest an hour (common
    practice, no source): heat must be off when nobody came for an hour, here
    counted from the last press, which may lie 20 min before the onset.
    """

    wakes: ClassVar[tuple[str, ...]] = ("run.unattended",)
    deadline_s: ClassVar[float] = 3600.0

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be away."""
        crew.away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back."""
        crew.away = False
