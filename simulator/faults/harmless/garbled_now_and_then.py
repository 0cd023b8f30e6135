"""One answer in a minute comes garbled."""

from typing import ClassVar, Literal

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig
from simulator.wire import Trouble


class GarbledNowAndThen(Disturbance):
    """A contactor's spark is heard on the bus.

    No harm: one second in sixty without a reading; in it a runaway pad, 1600 W into
    18 kJ/K, gains less than 0.1 K. A garbled answer fails its check sum, 1 in
    65536 does not (Modbus, CRC-16).

    Attributes:
        module: which.
        lasts_s: how long in all.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"wire"})

    module: Literal["temperatures", "pressures", "relays"] = "pressures"
    lasts_s: float = Field(default=1800.0, ge=60.0, le=7200.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Garble one second of each minute, and be over."""
        if since_s < self.lasts_s and since_s % 60.0 < 1.0:
            rig.wire.troubles[self.module] = Trouble.GARBLED
        else:
            rig.wire.troubles.pop(self.module, None)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Find the spark."""
        rig.wire.troubles.pop(self.module, None)
