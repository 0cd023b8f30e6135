"""A module's every answer comes twice."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleDoubles(BlindingFault):
    """The second copy is taken for the answer to the next question.

    Deadline: on a serial bus no answer can be trusted any more, and blind, the
    supervisor misses a runaway, which goes from 140 to 160 °C, where rubber blows
    (common practice, no source), in about 5 min by the pad's mass and power. Heat
    must be off before. Over TCP each answer bears the number of its question, and
    the copy may be thrown away with nothing lost.
    """

    trouble: ClassVar[Trouble] = Trouble.DOUBLED
    onset: ClassVar[Onset] = Onset(2300.0, Stage.HOLD)
