"""A thermocouple was changed in the pause and its wires are crossed."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.misreading import BrokenThermocouple
from simulator.sensors import Failure


class ThermocoupleReversed(BrokenThermocouple):
    """The hotter the pad, the colder it looks.

    Deadline: the thermostat still works and nothing is hot yet; but what breaks
    next goes unseen, and a pad whose thermostat sticks goes from 140 to 160 °C,
    where rubber blows (common practice, no source), in about 5 min by its mass
    and power. Heat must be off before.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.sensor", "pad.not_heating")
    failure: ClassVar[Failure] = Failure.REVERSED
    onset: ClassVar[Onset] = Onset(0.0, Stage.AIR_UP)
