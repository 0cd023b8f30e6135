"""A thermocouple's lead breaks: its module reads an open circuit."""

from typing import ClassVar

from simulator.faults.misreading import BrokenThermocouple
from simulator.sensors import Failure


class ThermocoupleOpen(BrokenThermocouple):
    """A broken lead: one pad heats unseen.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    """

    failure: ClassVar[Failure] = Failure.OPEN
