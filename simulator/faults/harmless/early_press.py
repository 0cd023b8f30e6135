"""The crew presses here long before it is due, and start though heat is on."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class EarlyPress(Disturbance):
    """A helper presses whatever is lit, again and again.

    No harm: heat is granted already and the press asks for nothing new; someone is
    there sooner than need be.

    Attributes:
        every_s: between rounds.
        rounds: how many.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"buttons"})

    every_s: float = Field(default=120.0, ge=30.0, le=600.0)
    rounds: int = Field(default=4, ge=1, le=10)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Press here, and start ten seconds after, a second each."""
        if since_s >= self.every_s * self.rounds:
            return
        into_s = since_s % self.every_s
        if into_s < 1.0:
            rig.controls.press("here_button", rig.now_s, 1.0)
        elif 10.0 <= into_s < 11.0:
            rig.controls.press("start_button", rig.now_s, 1.0)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Let go."""
        rig.controls.press("here_button", rig.now_s, 0.0)
        rig.controls.press("start_button", rig.now_s, 0.0)
