"""The contactor's coil holds badly and its contacts chatter."""

from typing import ClassVar

from simulator.crew import Crew, Stage
from simulator.electrics import ContactorState
from simulator.faults.base import Fault, Onset
from simulator.faults.harm import CHATTER_HZ, CONTACT_LIFE
from simulator.plant import Rig, RigSettings


class ContactorChatters(Fault):
    """Contacts that make and break the heaters' current many times a second.

    Deadline: contacts of this size make and break their rated current some
    100 000 times (from memory, of makers' tables for heating loads). Chattering
    twenty times a second they have done so in 5000 s, and a chattering contact
    ends by burning open or, worse, by welding.
    """

    wakes: ClassVar[tuple[str, ...]] = ("output.mismatch",)
    harm: ClassVar[str] = "the contacts weld, and heat cannot be taken away"
    touches: ClassVar[frozenset[str]] = frozenset({"electrics.contactor"})
    onset: ClassVar[Onset] = Onset(300.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """The contacts' life at so many operations a second."""
        return CONTACT_LIFE / CHATTER_HZ

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Chatter."""
        rig.electrics.contactor = ContactorState.CHATTERS

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Change the contactor."""
        rig.electrics.contactor = ContactorState.WORKS
