"""One module does not answer for two seconds."""

from typing import ClassVar, Literal

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig
from simulator.wire import Trouble


class LinkHiccup(Disturbance):
    """A plug is touched, a bus is busy.

    No harm: in two seconds a runaway pad, 1600 W into 18 kJ/K, gains less than
    0.2 K, and a bag that leaks through 0.05 dm³/(s bar) loses 2 kPa.

    Attributes:
        module: which.
        lasts_s: how long.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"wire"})

    module: Literal["temperatures", "pressures", "relays"] = "temperatures"
    lasts_s: float = Field(default=2.0, ge=1.0, le=3.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be silent, and answer again."""
        if since_s < self.lasts_s:
            rig.wire.troubles[self.module] = Trouble.SILENT
        else:
            rig.wire.troubles.pop(self.module, None)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Answer again."""
        rig.wire.troubles.pop(self.module, None)
