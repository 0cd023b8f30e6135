"""The relay module loses its own supply; all its contacts open."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import cold_in_hold, cooling_s
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class RelayModuleUnpowered(Fault):
    """No heat, no lamp, no horn: the rig is mute and grows cold.

    Deadline: the pads fall to 120 °C, below which the hold does not count (common
    practice, no source). Half an hour into the hold the rubber, still cold inside,
    takes 375 W from a face at 140 °C (Carslaw & Jaeger) and the air takes 5 W/K: 18
    kJ/K are there in some 6 min, later with less of either. Whatever breaks meanwhile
    is told by no horn.
    """

    wakes: ClassVar[tuple[str, ...]] = ("link.stale", "output.mismatch")
    harm: ClassVar[str] = "the repair misses cure and fails on the road"
    touches: ClassVar[frozenset[str]] = frozenset({"relays.supply"})
    onset: ClassVar[Onset] = Onset(2000.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The pads' fall to where the hold no longer counts."""
        return cooling_s(built, into_hold_s=self.onset.after_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """A pad is too cold for the hold to count."""
        return cold_in_hold(rig, crew, *SIDES)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Lose the supply."""
        rig.relays.powered = False

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put in another fuse."""
        rig.relays.powered = True
