"""Outputs that count as on only while they move.

For modules without a communication time-out of their own. The coil is switched
to and fro, once a poll, and each rising edge starts the time of a relay outside
the module anew; when the edges cease, for whatever reason, that relay falls.
"""

from dataclasses import dataclass

from drivers.timing import NS_PER_S

# One answer may get lost; after two the relay outside has fallen, and edges
# that began again would switch heat on with nobody having decided it.
PERIODS_WITHOUT_MAX = 2.5


@dataclass(slots=True)
class Toggle:
    """One such output: what was written last, and when it was last seen to have moved.

    Attributes:
        period_s: time between polls, s.
        active: it is to move; ends by `stop`, or by itself when no move is seen.
        due: it was read since the last edge, so another may be written.
    """

    period_s: float
    active: bool = False
    due: bool = False
    _written: bool = False
    _seen: bool = False
    _moved: bool = False
    _moved_ns: int = 0

    def start(self, now_ns: int) -> None:
        """A rising edge was written just now."""
        self.active, self.due = True, False
        self._written, self._seen, self._moved = True, False, False
        self._moved_ns = now_ns

    def stop(self) -> None:
        """No more edges."""
        self.active = False

    def read(self, now_ns: int, *, on: bool) -> bool:
        """Take note of a coil as read; whether the output counts as on."""
        if on is self._written and on is not self._seen:
            self._moved, self._moved_ns = True, now_ns
        self._seen, self.due = on, True
        self.check(now_ns)
        return self.active and self._moved

    def check(self, now_ns: int) -> None:
        """Stop if no move was seen for too long."""
        if now_ns - self._moved_ns >= round(PERIODS_WITHOUT_MAX * self.period_s * NS_PER_S):
            self.active = False

    def next_edge(self) -> bool:
        """What to write now: the other state than was read."""
        self._written, self.due = not self._seen, False
        return self._written
