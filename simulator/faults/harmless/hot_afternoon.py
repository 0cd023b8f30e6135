"""A hot afternoon: sun on the outer side of the rig."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew
from simulator.faults.base import Disturbance
from simulator.plant import Rig


class HotAfternoon(Disturbance):
    """The outer side and the terminal box grow warm.

    No harm: all the sun on a pad's back of 0.3 m² is 200 W at most, less than the
    400 W and more that it loses at 140 °C; its thermostat calls the less. The
    terminal box warms by some K and its cold junction follows.

    Attributes:
        sun_w_m2: at its strongest.
        warmer_c: the air then, K.
        rises_s: until then.
    """

    touches: ClassVar[frozenset[str]] = frozenset({"surroundings"})

    sun_w_m2: float = Field(default=700.0, ge=200.0, le=900.0)
    warmer_c: float = Field(default=10.0, ge=0.0, le=15.0)
    rises_s: float = Field(default=3600.0, ge=600.0, le=10_800.0)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Come out, and warm the yard after."""
        share = min(1.0, since_s / self.rises_s)
        rig.surroundings.sun_w_m2 = self.sun_w_m2 * share
        rig.surroundings.ambient_c = rig.settings.ambient_c + self.warmer_c * share

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Go behind a cloud."""
        rig.surroundings.sun_w_m2 = 0.0
        rig.surroundings.ambient_c = rig.settings.ambient_c
