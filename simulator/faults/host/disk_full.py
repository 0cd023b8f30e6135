"""The store cannot be written any more."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import CURE_SPARE_MIN
from simulator.plant import Rig, RigSettings


class DiskFull(Fault):
    """The cure goes on and leaves no record.

    Deadline: what is not recorded cannot be proved after. The invented compound's
    hold can spare 15 min at 140 °C (common practice, no source); with
    more than that missing the record no longer shows a whole cure.
    """

    wakes: ClassVar[tuple[str, ...]] = ("store.failing",)
    harm: ClassVar[str] = "a good repair cannot be told from a bad one"
    touches: ClassVar[frozenset[str]] = frozenset({"host.disk_full"})

    def deadline_s(self, built: RigSettings) -> float:
        """As much of the hold as can be spared."""
        return CURE_SPARE_MIN * 60

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Fill it."""
        rig.host.disk_full = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Make room."""
        rig.host.disk_full = False
