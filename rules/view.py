"""One frame as the rules look at it: with process time, phase and helpers.

A hazard gets a `View` and nothing else. What is not fitted reads as None
everywhere and is not judged.
"""

from typing import Any, NamedTuple

from rules.air import Air
from rules.believed import believed
from rules.channels import BAGS, PADS
from rules.facts import RigFacts
from rules.frame import NS_PER_S, Frame, Quality, Reading
from rules.heating import Heating
from rules.phases import Phase
from rules.signals import Now, now_of

NOT_SEEN = Now(None, None, None, None)


class View(NamedTuple):
    """One frame, ready to be judged; made by the step, and by `view_of` elsewhere.

    A named tuple, because one of so many places is built in every frame: a frozen
    dataclass takes five times as long.

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
        here_pressed: the here button was.
        permit_since_ns: process time at which the permit was last granted or
            taken away, ns; 0 before the first grant.
        latched: a trip took heat away and nobody has reset it.
        hold_over: the planned end of the hold of this run has come.
        standing: tags that stood at warning or trip after the frame before.
        air: the model of the air in the bags.
        now: pads and bags as far as they are believed.
        heating: how the pads have warmed and cooled of late.
        held_s: what the hold clock of this run has counted, s.
        heated: heat is, or may be, on: `heat_on` when fitted and good; else
            whether our permit is granted; None on a watch-only rig without
            `heat_on`, where it is not known.
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
    here_pressed: bool = False
    permit_since_ns: int = 0
    latched: bool = False
    hold_over: bool = False
    standing: tuple[str, ...] = ()
    air: Air = Air()
    now: Now = NOT_SEEN
    heating: Heating = Heating()
    held_s: float = 0.0
    heated: bool | None = None

    def reading(self, channel: str) -> Reading | None:
        """The reading of a channel; None when it is not fitted.

        Source:
            Own method.
        """
        return self.frame.values.get(channel)

    def good(self, channel: str) -> float | None:
        """The value of a channel if it is believed; else None.

        Source:
            `rules.believed`; for pads and bags also `rules.trust`.
        """
        if channel in PADS:
            return self.now.pads[PADS.index(channel)]
        if channel in BAGS:
            return self.now.bags[BAGS.index(channel)]
        return believed(channel, self.frame.values.get(channel))

    def is_on(self, channel: str) -> bool | None:
        """A switch's state; None when not fitted or not good.

        Source:
            Own method.
        """
        reading = self.frame.values.get(channel)
        if reading is None or reading.quality is not Quality.GOOD or reading.value is None:
            return None
        return reading.value >= 0.5

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

    def due(self, every_s: float) -> bool:
        """A multiple of `every_s` of process time has passed since the frame before.

        For what need not be looked at in each frame.

        Source:
            Own method.
        """
        every_ns = int(every_s * NS_PER_S)
        return self.now_ns // every_ns != (self.now_ns - int(self.dt_s * NS_PER_S)) // every_ns

    @property
    def left_to_cool(self) -> bool:
        """Heat is off and the air is in: nobody needs to press, and no supply is needed.

        Source:
            This project's design, "left to cool".
        """
        return self.phase is Phase.COOL_DOWN and self.heated is not True and self.pressurised

    @property
    def pads_c(self) -> dict[str, float]:
        """Good pad readings, °C, by channel.

        Source:
            Own method.
        """
        return _named(PADS, self.now.pads)

    @property
    def bags_kpa(self) -> dict[str, float]:
        """Good bag readings, kPa gauge, by channel.

        Source:
            Own method.
        """
        return _named(BAGS, self.now.bags)


def _named(names: tuple[str, str], values: tuple[float | None, float | None]) -> dict[str, float]:
    return {name: value for name, value in zip(names, values, strict=True) if value is not None}


def heated_of(frame: Frame, *, permit_granted: bool, watch_only: bool) -> bool | None:
    """Heat is, or may be, on; see `View.heated`.

    Source:
        Own method.
    """
    on = believed("heat_on", frame.values.get("heat_on"))
    if on is None:
        return None if watch_only else permit_granted
    return on >= 0.5 or permit_granted


def view_of(frame: Frame, facts: RigFacts, now_ns: int, dt_s: float = 0.0, **rest: Any) -> View:
    """A view with what the step would have worked out of the frame.

    Args:
        frame: the frame.
        facts: of the rig.
        now_ns: process time, ns.
        dt_s: time since the frame before, s.
        rest: any other field of `View`; `now` and `heated` may be left out.

    Source:
        Own method.
    """
    view = View(frame, facts, now_ns, dt_s, **rest)
    if "now" not in rest:
        view = view._replace(now=now_of(frame))
    heated = heated_of(frame, permit_granted=view.permit_granted, watch_only=view.watch_only)
    return view._replace(heated=heated)
