"""A thermocouple's channel gives no number, or one no pad can have."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset, Side
from simulator.faults.misreading import BrokenThermocouple
from simulator.sensors import Failure


class ThermocoupleGarbage(BrokenThermocouple):
    """One pad heats unseen.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    """

    failure: ClassVar[Failure] = Failure.GARBAGE
    onset: ClassVar[Onset] = Onset(1000.0, Stage.HOLD)

    pad: Side = "outer"
