"""The relays' time-out was set to never, and now the cable to them is cut."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.panel import RelayModule
from simulator.plant import Rig, RigSettings
from simulator.wire import Trouble


class RelaysHoldOn(Fault):
    """The permit stays as it was, and nobody can take it back.

    Deadline: what must be met is the first runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. By then someone must be at the supply's switch.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale", "pad.heat_after_cutoff")
    harm: ClassVar[str] = "heat cannot be taken away"
    touches: ClassVar[frozenset[str]] = frozenset({"wire", "relays.timeout"})
    onset: ClassVar[Onset] = Onset(750.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Hold on."""
        rig.relays.timeout_s = 0.0
        rig.wire.troubles["relays"] = Trouble.SILENT

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Lay a new cable and set the time-out right."""
        rig.relays.timeout_s = RelayModule().timeout_s
        rig.wire.troubles.pop("relays", None)
