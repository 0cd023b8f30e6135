"""A neighbour uses the blow gun, in bursts."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class NeighbourUsesAir(Disturbance):
    """The supply twitches every minute.

    No harm: half a minute of 0.2 mol/s, then half a minute of none, are 0.1 mol/s
    in the mean, less than the compressor's 0.12; the receiver's 44 mol at cut-in
    bear a burst of 6 mol. The regulators hold their bags.

    Attributes:
        use_mol_s: in each burst.
        lasts_s: how long in all.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"supply.line"})

    use_mol_s: float = Field(default=0.2, ge=0.05, le=0.23)
    lasts_s: float = Field(default=1200.0, ge=60.0, le=7200.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Blow for half of each minute, and be over."""
        blows = since_s < self.lasts_s and since_s % 60.0 < 30.0
        rig.supply.other_use_mol_s = self.use_mol_s if blows else 0.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put the gun down."""
        rig.supply.other_use_mol_s = 0.0
