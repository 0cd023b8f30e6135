"""Someone opens the exhausts while the repair is hot."""

from typing import ClassVar

from simulator.crew import Crew
from simulator.faults.base import Fault
from simulator.plant import Rig


class LetDownHot(Fault):
    """Both bags are let down hot.

    Deadline: through 0.05 dm³/(s bar) a 20 litre bag goes from 308 to 251 kPa
    absolute (150 kPa gauge) in some 80 s; below it steam may blow the repair.
    Tell in time to shut the exhausts again.
    """

    wakes: ClassVar[tuple[str, ...]] = ("release.hot",)
    deadline_s: ClassVar[float] = 80.0

    def act(self, rig: Rig, crew: Crew, since_s: float) -> None:
        """Ask for release, shut the feeds and open the exhausts."""
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
