"""Levels and edges into switches that are on or off, and outputs that move; nothing waits.

All times are given; `now_ns` never goes back.
"""

from collections import deque
from dataclasses import dataclass, field

from drivers.timing import NS_PER_S

# A hand makes some ten presses a second, a loose or worn contact more.
CHATTER_EDGES = 30
CHATTER_NS = NS_PER_S
# No finger lets go and presses again within this; a contact that bounces does.
BOUNCE_NS = 50_000_000
# One edge may come late; after two the relay outside has fallen, and edges that
# began again would switch heat on with nobody having decided it.
PERIODS_WITHOUT_MAX = 2.5


@dataclass(frozen=True, slots=True)
class Edge:
    """One change of an input.

    Attributes:
        name: of the point.
        on: it went on; inversion is done.
        number: counts the edges of this line, those that were lost too.
    """

    name: str
    on: bool
    number: int


@dataclass(slots=True)
class Switch:
    """One input: on until the later of its release and `stretch_ns` after its press.

    Then it is off for `stretch_ns`, or presses that come quickly one after another would
    look like one that is held: held `start_button` ends a trip. One that begins
    meanwhile counts only if it is held beyond.

    Attributes:
        stretch_ns: how long a press shows at least, ns.
        on: its level, as last heard of.
        lost: edges known to be lost, since this began.
    """

    stretch_ns: int
    on: bool = False
    lost: int = 0
    _known: bool = False
    _pressed_ns: int | None = None  # from when the press last counted shows
    _released_ns: int = 0
    _until_ns: int = 0  # a press that is over shows until then
    _free_ns: int = 0  # and no other shows before
    _number: int | None = None
    _edges: deque[int] = field(default_factory=lambda: deque(maxlen=CHATTER_EDGES))

    def edge(self, edge: Edge, now_ns: int) -> None:
        """Take note of an edge; those lost before it count as chatter, not as presses."""
        missing = 0 if self._number is None else max(0, edge.number - self._number - 1)
        self._number = edge.number
        self.lost += missing
        self._edges.extend([now_ns] * min(1 + missing, CHATTER_EDGES))
        self._take(now_ns, on=edge.on)

    def level(self, now_ns: int, *, on: bool) -> None:
        """Take note of the level as read; whatever the edges said, it wins.

        Found on at the first look is on, but nobody saw it pressed.
        """
        if self._known:
            self._take(now_ns, on=on)
        self.on, self._known = on, True

    def chatters(self, now_ns: int) -> bool:
        """Whether it changes faster than any hand does, or did within the last second."""
        return len(self._edges) == CHATTER_EDGES and now_ns - self._edges[0] < CHATTER_NS

    def shows(self, now_ns: int) -> bool:
        """Whether it is on, or was pressed so recently that it still shows."""
        counted = self._pressed_ns is None or now_ns >= self._pressed_ns
        return (self.on and counted) or now_ns < self._until_ns

    def _take(self, now_ns: int, *, on: bool) -> None:
        if on and not self.on:
            self._press(now_ns)
        elif self.on and not on:
            self._release(now_ns)
        if self.chatters(now_ns):
            self._pressed_ns, self._until_ns, self._free_ns = None, 0, 0
        self.on = on

    def _press(self, now_ns: int) -> None:
        bounced = self._pressed_ns is not None and now_ns - self._released_ns < BOUNCE_NS
        if not bounced:
            self._pressed_ns = max(now_ns, self._free_ns)

    def _release(self, now_ns: int) -> None:
        self._released_ns = now_ns
        if self._pressed_ns is not None and now_ns >= self._pressed_ns:
            self._until_ns = max(now_ns, self._pressed_ns + self.stretch_ns)
            self._free_ns = self._until_ns + self.stretch_ns


@dataclass(slots=True)
class Moving:
    """One output that is on only while it moves.

    Attributes:
        period_ns: time between its edges, ns.
        active: it is to move; ends by `stop`, or by itself when no move is seen.
    """

    period_ns: int
    active: bool = False
    _written: bool = False
    _seen: bool = False
    _moved: bool = False
    _moved_ns: int = 0

    def start(self, now_ns: int) -> None:
        """A rising edge was written just now."""
        self.active, self._written = True, True
        self._seen, self._moved, self._moved_ns = False, False, now_ns

    def stop(self) -> None:
        """No more edges."""
        self.active = self._moved = False

    def read(self, now_ns: int, *, on: bool) -> None:
        """Take note of the level as read."""
        if on is self._written and on is not self._seen:
            self._moved, self._moved_ns = True, now_ns
        self._seen = on
        self.check(now_ns)

    def check(self, now_ns: int) -> None:
        """Stop if no move was seen for too long."""
        if now_ns - self._moved_ns >= PERIODS_WITHOUT_MAX * self.period_ns:
            self.stop()

    def moves(self, now_ns: int) -> bool:
        """Whether it counts as on: edges really happened, and lately."""
        recent = now_ns - self._moved_ns < PERIODS_WITHOUT_MAX * self.period_ns
        return self.active and self._moved and recent

    def next_edge(self) -> bool:
        """What to write now: the other state than was read."""
        self._written = not self._seen
        return self._written
