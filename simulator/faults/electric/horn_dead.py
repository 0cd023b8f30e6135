"""The horn is dead: its coil burnt, its diaphragm rusted."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import BENCH_CHARS_C, rise_s
from simulator.plant import Rig, RigSettings


class HornDead(Fault):
    """Nobody hears what they are told.

    Deadline: nothing breaks by itself; the next thing that does is not heard.
    Found dead before the first heat it costs nothing. Pads forgotten on a bench
    need from the air's temperature to 120 °C, where wood and cotton char (from
    memory), 21 min or so by their mass and power: by then someone must know.
    """

    wakes: ClassVar[tuple[str, ...]] = ("horn.failed",)
    harm: ClassVar[str] = "a call to stand clear goes unheard"
    touches: ClassVar[frozenset[str]] = frozenset({"relays.horn"})
    onset: ClassVar[Onset] = Onset(0.0, Stage.PREHEAT)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' rise from cold to where a bench chars."""
        return rise_s(built, built.ambient_c, BENCH_CHARS_C)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Fall silent."""
        rig.relays.horn_dead = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the horn."""
        rig.relays.horn_dead = False
