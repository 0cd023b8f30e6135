"""A bag gives a little and its regulator refills it."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance, Side
from simulator.plant import Rig


class RegulatorRefills(Disturbance):
    """A coupling sighs for some minutes; the gauge dips and comes back.

    No harm: 0.02 dm³/(s bar) take about 0.3 kPa a second from a 20 litre bag, the
    regulator opens 3 kPa down and passes four times as much. The bag never comes
    near 150 kPa.

    Attributes:
        bag: which.
        leak_dm3_s_bar: sonic conductance.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"bag.leak"})

    bag: Side = "outer"
    leak_dm3_s_bar: float = Field(default=0.02, ge=0.005, le=0.03)
    lasts_s: float = Field(default=120.0, ge=10.0, le=300.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Sigh, and seat itself again."""
        rig.bags[self.bag].leak_dm3_s_bar = self.leak_dm3_s_bar if since_s < self.lasts_s else 0.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Tighten it."""
        rig.bags[self.bag].leak_dm3_s_bar = 0.0
