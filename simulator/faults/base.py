"""What every fault is made of.

A fault is one module in this package with one subclass of `Fault`. Its
docstring says what breaks and derives a deadline from the physics: how long
after onset it would do harm if nothing were done. Nothing is registered
anywhere else.
"""

from typing import ClassVar, Literal

from pydantic import BaseModel, ConfigDict

from simulator.crew import Crew
from simulator.plant import Rig

Side = Literal["inner", "outer"]


class Fault(BaseModel):
    """One way to break a rig; subclasses add their size and course as fields.

    Attributes:
        wakes: tags of the hazards it should wake, the first one first.
        deadline_s: after onset, by the physics, s.
        into_hold_s: when the scenario of its name strikes.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    wakes: ClassVar[tuple[str, ...]]
    deadline_s: ClassVar[float]
    into_hold_s: ClassVar[float] = 600.0

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it, or go on breaking it, `since_s` after onset.

        Called about once a second of plant time from the onset until mended.
        """
        raise NotImplementedError

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put it right again, as the crew would."""
        raise NotImplementedError
