"""A module's connection is closed at every question."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleHangsUp(BlindingFault):
    """The adapter drops out whenever it is used.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.
    """

    trouble: ClassVar[Trouble] = Trouble.HANGS_UP
    onset: ClassVar[Onset] = Onset(2100.0, Stage.HOLD)
