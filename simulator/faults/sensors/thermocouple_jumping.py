"""A loose terminal: the thermocouple's reading jumps."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.misreading import BrokenThermocouple
from simulator.sensors import Failure


class ThermocoupleJumping(BrokenThermocouple):
    """One pad is seen now and then.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    """

    failure: ClassVar[Failure] = Failure.JUMPING
    onset: ClassVar[Onset] = Onset(1500.0, Stage.HOLD)
