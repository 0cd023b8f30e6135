"""The supply's line parts and the compressor cannot keep up."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import bags_follow_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class SupplyLeaks(Fault):
    """The supply falls, and regulators without a check let the bags down into it.

    Deadline: through 3 dm³/(s bar) 150 litre go from cut-in, 600 kPa gauge, to
    the bags' 203 kPa in 56 s, the compressor running. From there on the bags
    drain through their regulators' 0.04 dm³/(s bar) and are at 150 kPa after 58 s
    more: 114 s. With lock-off valves shut by then they are saved.

    Attributes:
        leak_dm3_s_bar: sonic conductance of the leak.
    """

    wakes: ClassVar[tuple[str, ...]] = ("supply.low", "bag.low")
    harm: ClassVar[str] = "both bags go down, and steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"supply.line"})

    leak_dm3_s_bar: float = Field(default=3.0, ge=2.0, le=10.0)

    def deadline_s(self, built: RigSettings) -> float:
        """The supply's fall with the compressor running, and the bags' after it."""
        made_mol_s = built.supply.delivery_mol_s
        return bags_follow_s(built, hole_dm3_s_bar=self.leak_dm3_s_bar, made_mol_s=made_mol_s)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leak."""
        rig.supply.leak_dm3_s_bar = self.leak_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put the line together again."""
        rig.supply.leak_dm3_s_bar = 0.0
