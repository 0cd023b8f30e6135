"""The contactor welds: heat stays on whatever the permit says."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig


class ContactorWelds(Fault):
    """Heat that will not go off; only the supply's switch helps.

    Deadline: with working thermostats the pads stay at their setting and the
    harm is a cure that goes on past its end. At 140 °C a hold of hours bears
    about a tenth more (common practice, no source): 900 s of 150 min, counted
    from the planned end. Its scenario welds 10 min before that.
    """

    wakes: ClassVar[tuple[str, ...]] = ("pad.heat_after_cutoff",)
    deadline_s: ClassVar[float] = 1500.0
    into_hold_s: ClassVar[float] = 8400.0

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Weld."""
        rig.contactor_welded = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the contactor."""
        rig.contactor_welded = False
