"""How long heat has been on, for hazards that count it.

Heat that may be on counts as on: on a rig that is only watched and has no signal
of its heat, nobody knows better.

Source:
    Own method.
"""

from dataclasses import dataclass

from rules.frame import NS_PER_S
from rules.view import View


@dataclass(frozen=True, slots=True)
class HeatTime:
    """Time with heat on.

    Attributes:
        counted_ns: of the stretches that are over, ns.
        since_ns: process time since which heat has been on, ns, or None.
    """

    counted_ns: int = 0
    since_ns: int | None = None

    def total_s(self, now_ns: int) -> float:
        """All of it, s.

        Source:
            Own method.
        """
        running_ns = 0 if self.since_ns is None else now_ns - self.since_ns
        return (self.counted_ns + running_ns) / NS_PER_S


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
    fell_open = view.gap_s > 0 and not view.watch_only
    if on is (was.since_ns is not None) and not fell_open:
        return was
    counted_ns = was.counted_ns
    if was.since_ns is not None:
        lost_ns = int(view.gap_s * NS_PER_S) if fell_open else 0
        counted_ns += max(0, view.now_ns - lost_ns - was.since_ns)
    return HeatTime(counted_ns, view.now_ns if on else None)
