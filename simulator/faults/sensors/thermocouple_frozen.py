"""A thermocouple's channel shows the same figure for ever."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset, Side
from simulator.faults.misreading import BrokenThermocouple
from simulator.sensors import Failure


class ThermocoupleFrozen(BrokenThermocouple):
    """All looks well, and would go on looking well.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    """

    failure: ClassVar[Failure] = Failure.FROZEN
    onset: ClassVar[Onset] = Onset(1200.0, Stage.HOLD)

    pad: Side = "outer"
