"""Someone opens the exhausts while the repair is hot."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.faults.pressing import bag_falls_s, unpressed_hot
from simulator.plant import Rig, RigSettings


class LetDownHot(Fault):
    """Both bags are let down hot.

    Deadline: through 0.05 dm³/(s bar) a 20 litre bag goes from its working
    pressure to 150 kPa gauge in 46 s, the air cooling as it goes; below
    it steam opens damp rubber at 140 °C (150 kPa: common practice, no source).
    Tell in time to shut the exhausts again.
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.hot", "bag.low")
    harm: ClassVar[str] = "steam opens the hot rubber"
    touches: ClassVar[frozenset[str]] = frozenset({"valves"})

    def deadline_s(self, built: RigSettings) -> float:
        """The bags' fall to too little through their exhausts."""
        return bag_falls_s(built, built.bag.exhaust_dm3_s_bar, exponent=1.4)

    def harmed(self, rig: Rig, crew: Crew) -> bool | None:
        """Too little pressure on hot rubber."""
        return unpressed_hot(rig)

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Ask for release, shut the feeds and open the exhausts, once."""
        if since_s >= 1.0:
            return
        rig.controls.release_request = True
        for valves in rig.controls.valves.values():
            valves.feed_open = False
            valves.exhaust_open = True

    def mend(self, rig: Rig, crew: Crew) -> None:
        """Close the exhausts and refill."""
        rig.controls.release_request = False
        for valves in rig.controls.valves.values():
            valves.exhaust_open = False
            valves.feed_open = True
