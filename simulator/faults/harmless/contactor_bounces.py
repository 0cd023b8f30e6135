"""The contactor bounces once."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.electrics import ContactorState
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class ContactorBounces(Disturbance):
    """A second's rattle, as when a door slams.

    No harm: a second without full power costs a pad of 18 kJ/K under 0.1 K, and a
    contactor is made for a hundred thousand operations (from memory).
    """

    touches: ClassVar[frozenset[str]] = frozenset({"electrics.contactor"})

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Rattle for one second."""
        rattles = since_s < 1.0
        rig.electrics.contactor = ContactorState.CHATTERS if rattles else ContactorState.WORKS

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be still."""
        rig.electrics.contactor = ContactorState.WORKS
