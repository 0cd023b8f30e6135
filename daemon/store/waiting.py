"""Frames in memory, on their way to the disk."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice

from daemon.outgoing import Outgoing
from daemon.store.codec import Layout
from rules.events import Event


@dataclass(frozen=True, slots=True)
class Registration:
    """What is the same for every frame of a rig while the daemon runs."""

    rig: str
    limits_json: str
    limits_hash: str
    rules_version: str
    software_version: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """One frame, encoded, and all that is stored with it.

    Attributes:
        order: counts all frames handed to this store since it was opened.
        owner: the rig.
        seq: of the frame.
        run: number of its run on the rig, or 0.
        t_ns: of the frame.
        wall_ns: of the frame.
        layout: by which `body` is packed.
        body: the frame.
        events: it led to.
        outgoing: messages it led to.
        checkpoint: the state after it, when that is to be saved.
        opening: the state before it, when it opens a run.
    """

    order: int
    owner: Registration
    seq: int
    run: int
    t_ns: int
    wall_ns: int
    layout: Layout
    body: bytes
    events: tuple[Event, ...]
    outgoing: tuple[Outgoing, ...]
    checkpoint: bytes | None
    opening: bytes | None

    @property
    def is_plain(self) -> bool:
        """Nothing but the frame would be lost with it."""
        return not self.events and self.checkpoint is None and self.opening is None


class WaitingFrames:
    """The frames that wait, oldest first, at most `frames_max` of them."""

    def __init__(self, frames_max: int) -> None:
        self._frames_max = frames_max
        self._frames: deque[Waiting] = deque()

    def __len__(self) -> int:
        return len(self._frames)

    def put(self, entry: Waiting) -> None:
        """Add the newest."""
        self._frames.append(entry)

    def oldest(self, count: int) -> list[Waiting]:
        """The next batch; its frames wait on until `done`."""
        return list(islice(self._frames, count))

    def done(self, order: int) -> None:
        """All up to this one are on the disk."""
        while self._frames and self._frames[0].order <= order:
            self._frames.popleft()

    def take_outgoing(self) -> list[Outgoing]:
        """All messages, which from now on no longer wait with their frames."""
        found = [message for entry in self._frames for message in entry.outgoing]
        if found:
            self._frames = deque(replace(entry, outgoing=()) for entry in self._frames)
        return found

    def drop_surplus(self) -> list[Waiting]:
        """Beyond the limit, give up the oldest frames.

        Of the older half those go that led to nothing; when that does not free
        a quarter, the oldest go whatever they led to. Halves, so that the work
        is rare.

        Returns:
            What was given up.
        """
        if len(self._frames) <= self._frames_max:
            return []
        older = [self._frames.popleft() for _ in range((len(self._frames) + 1) // 2)]
        plain = [entry for entry in older if entry.is_plain]
        if len(plain) < len(older) // 2:
            plain = older[: (len(older) + 1) // 2]
        given_up = {entry.order for entry in plain}
        self._put_back(entry for entry in older if entry.order not in given_up)
        return plain

    def _put_back(self, entries: Iterable[Waiting]) -> None:
        self._frames.extendleft(reversed(list(entries)))
