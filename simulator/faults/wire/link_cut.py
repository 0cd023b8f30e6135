"""The cable to the rig's modules is cut."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import runaway_s
from simulator.plant import Rig, RigSettings
from simulator.wire import MODULE_NAMES, Trouble


class LinkCut(Fault):
    """The supervisor is blind and mute; the relays' own time-out must open the permit.

    Deadline: a runaway beside it goes from 140 to 160 °C, where rubber blows
    (common practice, no source), in about 5 min by the pad's mass and power, and
    nobody sees it. Heat must be off before.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale",)
    harm: ClassVar[str] = "the supervisor is blind or mute, and a runaway goes on"
    touches: ClassVar[frozenset[str]] = frozenset({"wire"})
    onset: ClassVar[Onset] = Onset(500.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """A runaway beside it, which would go unseen."""
        return runaway_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Cut it."""
        for module in MODULE_NAMES:
            rig.wire.troubles[module] = Trouble.SILENT

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Lay a new one."""
        for module in MODULE_NAMES:
            rig.wire.troubles.pop(module, None)
