"""A bag leaks and its regulator hides it by refilling."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault, Side
from simulator.faults.harm import WORKING_KPA, choked_mol_s
from simulator.faults.pressing import bag_falls_s, supply_falls_s
from simulator.plant import Rig, RigSettings


class LeakFed(Fault):
    """The gauge stands still; the compressor starts a little more often.

    Deadline: nothing happens until the compressor stops, at closing time or with
    the mains. Then the receiver of 150 litre goes from cut-in to the bag's own
    pressure through the leak, and the bag after it: at 0.02 dm³/(s bar)
    3.1 h. A cure goes on for longer than that.

    Attributes:
        bag: which.
        leak_dm3_s_bar: sonic conductance of the leak; the regulator keeps up with it.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.drift",)
    harm: ClassVar[str] = "no harm until the compressor stops; then the pressure goes"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.leak"})

    bag: Side = "inner"
    leak_dm3_s_bar: float = Field(default=0.02, ge=0.008, le=0.04)

    def deadline_s(self, built: RigSettings) -> float:
        """The receiver's fall with the compressor stopped at onset, then the bag's."""
        use_mol_s = choked_mol_s(self.leak_dm3_s_bar, WORKING_KPA)
        return supply_falls_s(built, use_mol_s=use_mol_s) + bag_falls_s(built, self.leak_dm3_s_bar)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Leak."""
        rig.bags[self.bag].leak_dm3_s_bar = self.leak_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Seal it."""
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
