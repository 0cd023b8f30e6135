"""Another unit answers in a module's place."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleForeign(BlindingFault):
    """Two units have been given one address.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.
    """

    trouble: ClassVar[Trouble] = Trouble.FOREIGN
    onset: ClassVar[Onset] = Onset(1600.0, Stage.HOLD)
