"""The here button is pressed twice within seconds."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class HerePressedTwice(Disturbance):
    """Somebody is not sure that it was heard.

    No harm: someone is there, and says so twice.

    Attributes:
        apart_s: between the presses.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"buttons"})

    apart_s: float = Field(default=4.0, ge=2.0, le=20.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Press for a second, twice."""
        if since_s < 1.0 or self.apart_s <= since_s < self.apart_s + 1.0:
            rig.controls.press("here_button", rig.now_s, 1.0)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Let go."""
        rig.controls.press("here_button", rig.now_s, 0.0)
