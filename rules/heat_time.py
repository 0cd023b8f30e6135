"""How long heat has been on, for hazards that count it.

A thermostat that rests looks like heat that is off: a signal that tells of current
comes and goes with it. So heat that comes back within `REST_S` has been on all the
while, and only heat that stays away longer has been off since it went.

Heat that may be on counts as on: on a rig that is only watched and has no signal
of its heat, nobody knows better.

Source:
    Own method; how long a thermostat rests is common practice, no source.
"""

from dataclasses import dataclass

from rules.frame import NS_PER_S
from rules.view import View

REST_S = 600.0


@dataclass(frozen=True, slots=True)
class HeatTime:
    """Time with heat on.

    Attributes:
        counted_ns: of the stretches that are over, ns.
        since_ns: process time at which this stretch began, ns, or None.
        off_ns: process time since which heat has been off in it, ns, or None.
    """

    counted_ns: int = 0
    since_ns: int | None = None
    off_ns: int | None = None

    @property
    def off(self) -> bool:
        """Heat is off, and not for the length of a thermostat's rest.

        Source:
            Own method.
        """
        return self.since_ns is None

    def total_s(self, now_ns: int) -> float:
        """All of it, s.

        Source:
            Own method.
        """
        if self.since_ns is None:
            return self.counted_ns / NS_PER_S
        until_ns = now_ns if self.off_ns is None else self.off_ns
        return (self.counted_ns + until_ns - self.since_ns) / NS_PER_S


NO_HEAT = HeatTime()


def heat_counted(was: HeatTime, view: View, *, on: bool) -> HeatTime:
    """The time with one more frame; the same object when nothing began or ended.

    A gap counts only where no permit fell open in it.

    Args:
        was: so far.
        view: the frame.
        on: heat counts as on in it.

    Source:
        Own method.
    """
    if view.gap_s > 0 and not view.watch_only and was.since_ns is not None:
        before_ns = view.now_ns - int(view.gap_s * NS_PER_S)
        was = _over(was, before_ns if was.off_ns is None else was.off_ns)
    if was.since_ns is None:
        return HeatTime(was.counted_ns, view.now_ns) if on else was
    if on:
        return was if was.off_ns is None else HeatTime(was.counted_ns, was.since_ns)
    if was.off_ns is None:
        return HeatTime(was.counted_ns, was.since_ns, view.now_ns)
    return _over(was, was.off_ns) if view.now_ns - was.off_ns >= REST_S * NS_PER_S else was


def _over(was: HeatTime, until_ns: int) -> HeatTime:
    since_ns = until_ns if was.since_ns is None else was.since_ns
    return HeatTime(was.counted_ns + max(0, until_ns - since_ns))
