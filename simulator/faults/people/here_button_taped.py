"""Somebody tapes the here button down and leaves."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import seeps_away_s
from simulator.plant import Rig, RigSettings


class HereButtonTaped(Fault):
    """The rig is told that someone is there; nobody is.

    Deadline: as when the crew walks off: a coupling that begins to seep 45 kPa an
    hour has its bag at 150 kPa gauge in 79 min. A hand does not
    press for minutes, so tape can be told from a hand long before.
    """

    wakes: ClassVar[tuple[str, ...]] = ("rig.button_stuck", "run.unattended")
    harm: ClassVar[str] = "what breaks next finds nobody, and the record says someone was there"
    touches: ClassVar[frozenset[str]] = frozenset({"crew.away", "buttons"})

    def deadline_s(self, built: RigSettings) -> float:
        """The fall of a bag that begins to seep as they leave."""
        return seeps_away_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Tape it and go."""
        rig.controls.taped.add("here_button")
        crew.away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back and take the tape off."""
        rig.controls.taped.discard("here_button")
        crew.away = False
