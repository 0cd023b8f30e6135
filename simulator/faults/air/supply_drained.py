"""A neighbour's tool takes more air than the compressor makes."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import bags_follow_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class SupplyDrained(Fault):
    """Blasting or a big impact wrench next door, for as long as it takes.

    Deadline: 0.4 mol/s, some 10 litre a second at the atmosphere's pressure,
    against 0.12 made: the 25 mol from cut-in to the bags' 203 kPa are gone in 90 s, and
    regulators without a check, 0.04 dm³/(s bar), have them at 150 kPa 58 s after:
    2.5 min.

    Attributes:
        use_mol_s: what the tool takes.
    """

    wakes: ClassVar[tuple[str, ...]] = ("supply.low", "bag.low")
    harm: ClassVar[str] = "both bags go down, and steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"supply.line"})

    use_mol_s: float = Field(default=0.4, ge=0.2, le=1.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The supply's fall with the compressor running, and the bags' after it."""
        made_mol_s = built.supply.delivery_mol_s
        return bags_follow_s(built, use_mol_s=self.use_mol_s, made_mol_s=made_mol_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Take it."""
        rig.supply.other_use_mol_s = self.use_mol_s

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Stop."""
        rig.supply.other_use_mol_s = 0.0
