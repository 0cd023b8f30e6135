"""The mains dip for less than a second and the lights blink."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class MainsBlink(Disturbance):
    """The contactor stays in.

    No harm: down to 70 % of nominal a closed contactor holds (it drops out between
    75 and 20 %, IEC 60947-4-1, from memory; this one at 65), and a second without
    full power costs a pad of 18 kJ/K under 0.1 K. The plant moves in whole seconds
    and sees the mean over one.

    Attributes:
        share: of the nominal voltage that is left.
        lasts_s: how long, 200 ms to 1 s.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"electrics.mains"})
    may_wake: ClassVar[tuple[str, ...]] = ("mains.lost",)

    share: float = Field(default=0.7, ge=0.7, le=0.9)
    lasts_s: float = Field(default=0.5, ge=0.2, le=1.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Blink."""
        mean_share = 1 - (1 - self.share) * self.lasts_s
        rig.electrics.mains_share = mean_share if since_s < 1.0 else 1.0

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Be over."""
        rig.electrics.mains_share = 1.0
