"""What every fault and every disturbance is made of.

One module in one of this package's areas holds one subclass. Its docstring says
what breaks and derives a deadline from the physics: how long after onset it
would do harm if nothing were done. Nothing is registered anywhere else.
"""

from dataclasses import dataclass
from typing import ClassVar, Literal

from pydantic import BaseModel, ConfigDict

from simulator.crew import Crew, Stage
from simulator.plant import Rig, RigSettings

Side = Literal["inner", "outer"]


@dataclass(frozen=True, slots=True)
class Onset:
    """When a fault strikes.

    Attributes:
        after_s: after plant time 0, or after the stage's begin.
        stage: of the crew, or None.
        repair: in which repair, from 1; for a stage only.
    """

    after_s: float
    stage: Stage | None = None
    repair: int = 1


class Fault(BaseModel):
    """One way to break a rig.

    Subclasses add size and course as fields; a field's bounds are what is
    plausible, and a campaign draws between them.

    Attributes:
        wakes: tags of the hazards it should wake, the first one first.
        harm: who or what is hurt, in one line.
        touches: what it lays hands on; two that share one never strike together.
        onset: when it strikes in the scenario of its name.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    wakes: ClassVar[tuple[str, ...]]
    harm: ClassVar[str]
    touches: ClassVar[frozenset[str]]
    onset: ClassVar[Onset] = Onset(600.0, Stage.HOLD)

    def deadline_s(self, built: RigSettings) -> float:
        """How long after onset the harm is done if nobody does anything, s; at the earliest."""
        raise NotImplementedError

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """The harm is done, by what really is; None where no plant can measure it."""
        return None

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Break it, or go on breaking it, `since_s` after onset.

        Called once a second of plant time from the onset until mended.
        """
        raise NotImplementedError

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Put it right again, as the crew would."""
        raise NotImplementedError


class Disturbance(Fault):
    """Something of a good day that must trip nothing.

    Attributes:
        may_wake: tags that may speak, without a trip.
    """

    wakes: ClassVar[tuple[str, ...]] = ()
    harm: ClassVar[str] = "none"
    may_wake: ClassVar[tuple[str, ...]] = ()

    def deadline_s(self, built: RigSettings) -> float:
        """There is none."""
        return float("inf")
