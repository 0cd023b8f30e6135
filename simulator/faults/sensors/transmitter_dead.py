"""A pressure transmitter's loop is broken."""

from typing import ClassVar

from simulator.crew import Stage
from simulator.faults.base import Onset
from simulator.faults.misreading import BrokenTransmitter
from simulator.sensors import Failure


class TransmitterDead(BrokenTransmitter):
    """One bag's pressure is not known.

    Deadline: the bag holds and nothing is wrong yet; but what it loses next goes
    unseen. A hose that works loose in earnest, half a litre a second for each
    bar, has a bag of 20 l down from 207 to 150 kPa, below which steam and trapped
    air open the rubber (common practice, no source), in 6 s; a leak that a hand
    could still find and stop, a fiftieth of that, in some 6 min. The latter is the
    one that there is time for.
    """

    failure: ClassVar[Failure] = Failure.OPEN
    onset: ClassVar[Onset] = Onset(600.0, Stage.HOLD)
