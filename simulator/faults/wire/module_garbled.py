"""A module's answers come with broken bytes."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleGarbled(BlindingFault):
    """Something always comes, and nothing of it can be believed.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.
    """

    trouble: ClassVar[Trouble] = Trouble.GARBLED
    onset: ClassVar[Onset] = Onset(1300.0, Stage.HOLD)
