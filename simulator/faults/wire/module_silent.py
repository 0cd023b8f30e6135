"""A module stops answering."""

from typing import ClassVar

from simulator.faults.blinding import BlindingFault
from simulator.wire import Trouble


class ModuleSilent(BlindingFault):
    """The supervisor is blind on one module.

    Deadline: blind, the supervisor misses a runaway, and that goes from 140 to
    160 °C, where rubber blows (common practice, no source), in about 5 min by
    the pad's mass and power. Heat must be off before.
    """

    trouble: ClassVar[Trouble] = Trouble.SILENT
