"""The hashes that make a changed record show: event chain and segment leaves.

Events of a rig form a chain: each hash covers the one before, so a row that is
changed, added or taken out breaks every later one. A tail cut off the end is
not seen by the chain alone. Frames are hashed in segments of 60 s, each a leaf
of a Merkle tree as in RFC 6962, section 2.1.
"""

import hashlib
import json
import struct
from collections.abc import Iterable
from dataclasses import dataclass, fields

import rfc8785

from daemon.store.codec import storable
from daemon.store.errors import StoreDamaged
from rules.events import EVENT_TYPES, Event, JsonScalar, as_dict, from_dict
from rules.frame import NS_PER_S

SEGMENT_NS = 60 * NS_PER_S
_PLACE = struct.Struct(">qqqq")
_FLOATS = (float, float | None)


def genesis(rig: str) -> bytes:
    """What the first event of a rig is linked to."""
    return hashlib.sha256(rig.encode()).digest()


def link(before: bytes, *, seq: int, n: int, run: int, wall_ns: int, body: bytes) -> bytes:
    """The hash of one event: over the hash before, its place and its body."""
    return hashlib.sha256(before + _PLACE.pack(seq, n, run, wall_ns) + body).digest()


def encode_event(event: Event) -> bytes:
    """An event as canonical JSON (RFC 8785).

    What RFC 8785 has no form for (a broken surrogate in somebody's note, an
    infinite figure) is written as sorted ASCII JSON instead: an event is never
    lost for its contents, and the chain covers the bytes, whichever they are.
    """
    body = as_dict(event)
    try:
        return rfc8785.dumps(body)
    except rfc8785.CanonicalizationError:
        return json.dumps(body, sort_keys=True, separators=(",", ":")).encode()


def leaf_hash(bodies: Iterable[bytes]) -> bytes:
    """RFC 6962 leaf hash of frames: SHA-256 of a zero byte and their bytes."""
    return hashlib.sha256(b"\x00" + b"".join(bodies)).digest()


def tag_and_state(event: Event) -> tuple[str, str]:
    """The tag and state of an event that has them, for looking it up; else empty."""
    return storable(getattr(event, "tag", "")), storable(getattr(event, "state", ""))


def decode_event(body: bytes) -> Event:
    """The event whose `encode_event` is `body`.

    Raises:
        StoreDamaged: `body` is no event.
    """
    try:
        found: dict[str, JsonScalar] = json.loads(body)
        kind = EVENT_TYPES[str(found["event"])]
        # Canonical JSON writes 5.0 as 5; the type of the field brings it back.
        for item in fields(kind):
            if item.type in _FLOATS and isinstance(found.get(item.name), int):
                found[item.name] = float(str(found[item.name]))
        return from_dict(found)
    except (ValueError, KeyError, TypeError) as error:
        raise StoreDamaged(f"a stored event cannot be read: {error}; {body[:200]!r}") from error


@dataclass(slots=True)
class Segment:
    """The frames of one rig hashed so far, at most 60 s and within one run."""

    run: int
    first_seq: int
    last_seq: int
    first_t_ns: int
    digest: "hashlib._Hash"

    @classmethod
    def begin(cls, *, run: int, seq: int, t_ns: int) -> "Segment":
        """A segment whose first frame will be `seq`."""
        return cls(run, seq, seq - 1, t_ns, hashlib.sha256(b"\x00"))

    def fits(self, *, run: int, seq: int, t_ns: int) -> bool:
        """The frame belongs into this segment, not into a new one."""
        in_order = run == self.run and seq == self.last_seq + 1
        return in_order and 0 <= t_ns - self.first_t_ns < SEGMENT_NS

    def add(self, seq: int, body: bytes) -> None:
        """Take in the next frame."""
        self.digest.update(body)
        self.last_seq = seq

    def copy(self) -> "Segment":
        """One that can go on while this one stays, for a commit that may fail."""
        return Segment(self.run, self.first_seq, self.last_seq, self.first_t_ns, self.digest.copy())

    @property
    def leaf_hash(self) -> bytes:
        """RFC 6962 leaf hash: SHA-256 of a zero byte and the frames' bytes."""
        return self.digest.digest()
