"""Somebody shuts the main valve, and the short line behind it seeps."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.harm import emptying_s
from simulator.faults.pressing import bag_falls_s, lowest_kpa, unpressed_hot
from simulator.panel import SIDES
from simulator.plant import Rig, RigSettings


class SupplyShut(Fault):
    """The last one out shuts the air; the compressor goes on filling its receiver.

    Deadline: the 2 litre of the line seep through 0.01 dm³/(s bar) from 600 kPa
    gauge to the bags' pressure in some 3 min; then regulators without a check let
    both bags out by the same way, 40 litre to 150 kPa gauge in about 12 min.

    Attributes:
        seep_dm3_s_bar: of the line's couplings.
    """

    wakes: ClassVar[tuple[str, ...]] = ("supply.low", "bag.low")
    harm: ClassVar[str] = "both bags go down, and steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"supply.shut", "supply.line"})

    seep_dm3_s_bar: float = Field(default=0.01, ge=0.003, le=0.1)

    def deadline_s(self, built: RigSettings) -> float:
        """The line's fall to the bags' pressure, then both bags' fall."""
        supply = built.supply
        line_s = emptying_s(
            supply.line_l,
            self.seep_dm3_s_bar,
            supply.cut_in_kpa,
            lowest_kpa(built),
            gas_c=built.ambient_c,
        )
        return line_s + bag_falls_s(built, self.seep_dm3_s_bar, bags=len(SIDES))

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Shut the main valve, once; the line seeps from then on."""
        if since_s < 1.0:
            rig.supply.shut = True
        rig.supply.leak_dm3_s_bar = self.seep_dm3_s_bar

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Open the main valve and tighten the couplings."""
        rig.supply.shut = False
        rig.supply.leak_dm3_s_bar = 0.0
