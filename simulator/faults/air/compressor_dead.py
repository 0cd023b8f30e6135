"""The compressor's motor burns out; the yard goes on using air."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import bags_follow_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class CompressorDead(Fault):
    """The receiver is drawn down with nothing to fill it.

    Deadline: 150 litre from cut-in, 600 kPa gauge, to 150 kPa are 28 mol of air
    (ideal gas); a yard that uses 0.02 mol/s, half a litre a second, has them in
    23 min. From there on regulators without a check let the bags down.

    Attributes:
        use_mol_s: what the yard goes on using.
    """

    wakes: ClassVar[tuple[str, ...]] = ("supply.low", "bag.low")
    harm: ClassVar[str] = "both bags go down, and steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"supply.compressor", "supply.line"})

    use_mol_s: float = Field(default=0.02, ge=0.008, le=0.1)

    def deadline_s(self, built: RigSettings) -> float:
        """The receiver's fall by what the yard uses, and the bags' with it."""
        return bags_follow_s(built, use_mol_s=self.use_mol_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Stand still."""
        rig.supply.compressor_ok = False
        rig.supply.other_use_mol_s = self.use_mol_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the motor; the yard finds other air meanwhile."""
        rig.supply.compressor_ok = True
        rig.supply.other_use_mol_s = 0.0
