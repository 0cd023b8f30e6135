"""A module's answers break off in the middle."""

from typing import ClassVar, Literal

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleTruncated(BlindingFault):
    """Half of each answer comes.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.
    """

    trouble: ClassVar[Trouble] = Trouble.TRUNCATED
    onset: ClassVar[Onset] = Onset(1400.0, Stage.HOLD)

    module: Literal["temperatures", "pressures", "relays"] = "pressures"
