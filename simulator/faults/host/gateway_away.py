"""Messages to phones cannot be delivered."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import seeps_away_s
from simulator.plant import Rig, RigSettings


class GatewayAway(Fault):
    """The horn at the rig sounds; the phones stay dark.

    Deadline: nothing is wrong at the rig. But a bag whose coupling begins to seep
    45 kPa an hour at the same time is at 150 kPa gauge in 79 min
    (see `slow_leak`); someone must know by then that the phones do not ring.
    """

    wakes: ClassVar[tuple[str, ...]] = ("delivery.failing",)
    harm: ClassVar[str] = "who is called does not hear it"
    touches: ClassVar[frozenset[str]] = frozenset({"host.gateway_away"})

    def deadline_s(self, built: RigSettings) -> float:
        """The fall of a bag that begins to seep at the same time."""
        return seeps_away_s(built)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Be away."""
        rig.host.gateway_away = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Come back."""
        rig.host.gateway_away = False
