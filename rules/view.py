"""One frame as the rules look at it: with process time, phase and helpers.

A hazard gets a `View` and nothing else. What is not fitted reads as None
everywhere and is not judged.
"""

from dataclasses import dataclass

from rules.believed import believed
from rules.channels import BAGS, PADS
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame, Reading
from rules.phases import Phase


@dataclass(frozen=True, slots=True)
class View:
    """One frame, ready to be judged.

    Attributes:
        frame: as it came in.
        facts: of the rig.
        now_ns: process time: monotonic over the whole life of the rig's
            record, across restarts, ns. Hazards use this, never `frame.t_ns`.
        dt_s: process time since the frame before, s; 0 on the first.
        gap_s: length of an interruption just before this frame, s, or 0. Rates
            must not be taken across it.
        phase: the phase, already decided for this frame.
        phase_since_ns: process time at which that phase began.
        history_known: False when the run was not seen from its start.
        run_open: a run is open.
        permit_granted: the heat permit was ordered closed on the frame before.
        watch_only: no permit relay or no start button is fitted.
        unplugged: pads seen to be unplugged on purpose (normal between preheat
            and mounting); not a sensor fault.
        pressurised: the bags have been held at pressure in this run and have
            not been empty since.
        someone_here: a presence, start or reset button was newly pressed in
            this frame.
    """

    frame: Frame
    facts: RigFacts
    now_ns: int
    dt_s: float = 0.0
    gap_s: float = 0.0
    phase: Phase = Phase.IDLE
    phase_since_ns: int = 0
    history_known: bool = True
    run_open: bool = False
    permit_granted: bool = False
    watch_only: bool = True
    unplugged: frozenset[str] = frozenset()
    pressurised: bool = False
    someone_here: bool = False

    def reading(self, channel: str) -> Reading | None:
        """The reading of a channel; None when it is not fitted.

        Source:
            Own method.
        """
        return self.frame.values.get(channel)

    def good(self, channel: str) -> float | None:
        """The value of a channel if it is believed; else None.

        Source:
            `rules.believed`.
        """
        return believed(channel, self.frame.values.get(channel))

    def is_on(self, channel: str) -> bool | None:
        """A switch's state; None when not fitted or not good.

        Source:
            Own method.
        """
        value = self.good(channel)
        return None if value is None else value >= 0.5

    def age_s(self, channel: str) -> float | None:
        """Time since an answer for this channel came, s; None when not fitted.

        Source:
            Own method.
        """
        reading = self.frame.values.get(channel)
        return None if reading is None else (self.frame.t_ns - reading.at_ns) / NS_PER_S

    def fitted(self, channels: tuple[str, ...]) -> tuple[str, ...]:
        """Those of `channels` that are fitted, in the order given.

        Source:
            Own method.
        """
        return tuple(name for name in channels if name in self.frame.values)

    @property
    def pads_c(self) -> dict[str, float]:
        """Good pad readings, °C, by channel.

        Source:
            Own method.
        """
        return self._good_of(PADS)

    @property
    def bags_kpa(self) -> dict[str, float]:
        """Good bag readings, kPa gauge, by channel.

        Source:
            Own method.
        """
        return self._good_of(BAGS)

    @property
    def heated(self) -> bool | None:
        """Heat is, or may be, on.

        `heat_on` when fitted and good; else whether our permit is granted;
        None on a watch-only rig without `heat_on`, where it is not known.

        Source:
            Own method.
        """
        on = self.is_on("heat_on")
        if on is not None:
            return on or self.permit_granted
        return None if self.watch_only else self.permit_granted

    def _good_of(self, channels: tuple[str, ...]) -> dict[str, float]:
        found = {}
        for name in channels:
            value = self.good(name)
            if value is not None:
                found[name] = value
        return found
