"""From the mains to the thermostats: supply switch, permit, emergency stop, contactor.

The contactor's coil hangs on the same mains as the heaters, behind the heat
permit and the emergency stop. Like every alternating-current contactor it needs
more voltage to pull in than to stay in, so a dip leaves it closed down to a
point and then drops it.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from math import sqrt
from random import Random

# A coil pulls in from 0.85 of nominal at the latest and drops out between 0.75
# and 0.2 (IEC 60947-4-1, from memory); this one a little better at pulling in.
PULLS_IN_SHARE = 0.80
DROPS_OUT_SHARE = 0.65
CHATTER_SHARES = (0.3, 0.9)
WIRE_OPENS_CHANCE = 0.2  # of a second in which the loose wire opens at all


class ContactorState(StrEnum):
    """What the contactor does when its coil is called, or not."""

    WORKS = "works"
    WELDED = "welded"
    CHATTERS = "chatters"
    STUCK_OPEN = "stuck_open"


@dataclass(slots=True)
class Electrics:
    """The pad supply of one rig.

    Attributes:
        random: draws the chatter, and nothing else.
        mains_share: mains voltage as a share of nominal.
        contactor: what is wrong with it.
        permit_bridged: someone has bridged the permit relay's contact.
        supply_switch_on: the supply's own switch; off at the end of the day.
        estop_wire_chatters: a loose wire opens the emergency stop's loop now and then.
        estop_bypassed: the stop no longer reaches the coil; its button still tells.
        contactor_closed: share of the last step in which the contactor was closed, 0 to 1.
        estop_ok: the emergency stop's loop was closed through all of the last step.
    """

    random: Random
    mains_share: float = 1.0
    contactor: ContactorState = ContactorState.WORKS
    permit_bridged: bool = False
    supply_switch_on: bool = True
    estop_wire_chatters: bool = False
    estop_bypassed: bool = False
    contactor_closed: float = 0.0
    estop_ok: bool = True
    _pulled_in: bool = field(default=False, init=False)

    @property
    def mains_ok(self) -> bool:
        """The mains carry enough voltage to pull in a contactor or start a compressor."""
        return self.mains_share >= PULLS_IN_SHARE

    @property
    def supply_share(self) -> float:
        """Effective (root mean square) voltage at the thermostats, as a share of nominal.

        Its square is the share of nominal power, also when the contactor chatters.
        """
        if not self.supply_switch_on:
            return 0.0
        return self.mains_share * sqrt(self.contactor_closed)

    def advance(self, dt_s: float, *, coil: bool, estop: bool) -> None:
        """One step.

        Args:
            dt_s: step, s; about 1.
            coil: the permit relay's contact is closed.
            estop: the emergency stop is pressed.
        """
        loop_share = 0.0 if estop else self._loop_share(dt_s)
        self.estop_ok = loop_share == 1.0
        if self.estop_bypassed:
            loop_share = 1.0
        called = (coil or self.permit_bridged) and self.supply_switch_on and loop_share > 0
        needed_share = DROPS_OUT_SHARE if self._pulled_in else PULLS_IN_SHARE
        self._pulled_in = called and self.mains_share >= needed_share
        self.contactor_closed = self._closed_share(loop_share)
        if loop_share < 1 and not self.mains_ok:
            self._pulled_in = False  # let go for a moment, and too little voltage to come back

    def _loop_share(self, dt_s: float) -> float:
        """Share of the step in which the emergency stop's unpressed loop is closed."""
        if not self.estop_wire_chatters or self.random.random() >= WIRE_OPENS_CHANCE * dt_s:
            return 1.0
        return self.random.uniform(*CHATTER_SHARES)

    def _closed_share(self, loop_share: float) -> float:
        if self.contactor is ContactorState.WELDED:
            return 1.0
        if not self._pulled_in or self.contactor is ContactorState.STUCK_OPEN:
            return 0.0
        if self.contactor is ContactorState.CHATTERS:
            return loop_share * self.random.uniform(*CHATTER_SHARES)
        return loop_share
