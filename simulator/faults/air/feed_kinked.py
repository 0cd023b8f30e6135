"""A hose is kinked under a clamp's foot; the bag seeps and is not made up."""

from typing import ClassVar

from pydantic import Field

from simulator.crew import Crew, Stage
from simulator.faults.base import Fault, Onset, Side
from simulator.faults.harm import WORKING_KPA, hole_dm3_s_bar
from simulator.faults.pressing import bag_falls_s, gas_c, unpressed_hot
from simulator.plant import Rig, RigSettings


class FeedKinked(Fault):
    """The regulator's gauge is fine; the bag behind the kink sinks.

    Deadline: couplings seep, here 60 kPa an hour, and a fed bag never shows it.
    Behind the kink it does: to 150 kPa gauge in 59 min, below which steam
    opens damp rubber at 140 °C (150 kPa: common practice, no source).

    Attributes:
        bag: which.
        seeps_kpa_per_h: what couplings lose at the working pressure, kPa/h.
        left_share: of the hose that is left.
    """

    wakes: ClassVar[tuple[str, ...]] = ("bag.drift", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"bag.feed", "bag.leak"})
    onset: ClassVar[Onset] = Onset(1200.0, Stage.HOLD)

    bag: Side = "outer"
    seeps_kpa_per_h: float = Field(default=60.0, ge=40.0, le=200.0)
    left_share: float = Field(default=0.0, ge=0.0, le=2e-4)

    def deadline_s(self, built: RigSettings) -> float:
        """The bag's fall to too little by what it seeps."""
        return bag_falls_s(built, self._seep_dm3_s_bar(built))

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Kink it."""
        rig.bags[self.bag].feed_share = self.left_share
        rig.bags[self.bag].leak_dm3_s_bar = self._seep_dm3_s_bar(rig.settings)

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Pull the hose straight and tighten the couplings."""
        rig.bags[self.bag].feed_share = 1.0
        rig.bags[self.bag].leak_dm3_s_bar = 0.0

    def _seep_dm3_s_bar(self, built: RigSettings) -> float:
        volume_l = built.bag.volume_l
        return hole_dm3_s_bar(self.seeps_kpa_per_h, volume_l, WORKING_KPA, gas_c(built))
