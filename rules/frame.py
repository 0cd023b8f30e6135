"""What comes in: one frame per rig per period, with everything a decision may use.

Source:
    This project's design; the quality names follow NAMUR NE 107 in spirit
    (a value is usable, doubtful or unusable, and says why).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

NS_PER_S = 1_000_000_000


class Quality(StrEnum):
    """How far a reading may be trusted."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class Reason(StrEnum):
    """Why a reading is not good; empty when it is, but for `maintenance_required`.

    Link reasons (no answer came) are told apart from sensor reasons (an
    answer came and the instrument cannot be believed).
    """

    NONE = ""
    NEVER_READ = "never_read"
    NO_REPLY = "no_reply"
    LINK_DOWN = "link_down"
    BAD_REPLY = "bad_reply"
    REFUSED = "refused"
    OPEN_CIRCUIT = "open_circuit"
    SHORT_CIRCUIT = "short_circuit"
    BELOW_RANGE = "below_range"
    ABOVE_RANGE = "above_range"
    NOT_A_NUMBER = "not_a_number"
    MISSING = "missing"
    COLD_JUNCTION = "cold_junction"
    FAILURE = "failure"
    CHECK_FUNCTION = "check_function"
    OUT_OF_SPECIFICATION = "out_of_specification"
    MAINTENANCE_REQUIRED = "maintenance_required"


LINK_REASONS = frozenset(
    {Reason.NEVER_READ, Reason.NO_REPLY, Reason.LINK_DOWN, Reason.BAD_REPLY, Reason.REFUSED}
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One channel's reading.

    Attributes:
        value: in the unit of the channel's name; a switch is 0.0 or 1.0;
            None when nothing usable was read. Never the last good value.
        quality: how far it may be trusted.
        reason: why not, when it may not.
        at_ns: `Frame.t_ns` time at which an answer for this channel last came
            (for link reasons: the last answer before the silence).
    """

    value: float | None
    quality: Quality
    reason: Reason
    at_ns: int


@dataclass(frozen=True, slots=True)
class Command:
    """Something a person asked for over a network or a socket.

    Start, reset and presence are not among the verbs: those come from wired
    inputs only.

    Attributes:
        id: unique per command; the same id twice is carried out once.
        verb: `seen`, `going`, `quiet` or `note`.
        who: asserted name of the person.
        via: how it came, for instance `mqtt` or `socket`.
        issued_ns: wall time in ns since 1970 at which it was accepted.
        tag: the alarm it is about, or empty.
        minutes: for `quiet`, how long, min.
        text: for `note` the note, for `quiet` the reason.
    """

    id: str
    verb: str
    who: str
    via: str
    issued_ns: int
    tag: str = ""
    minutes: float = 0.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Health:
    """How the supervisor itself is doing, as far as a decision may use it.

    Attributes:
        store_ok: the last flush of the store succeeded.
        broker_ok: the broker answered last; None when none is configured, or it
            has only just been tried for the first time.
        polls_late: frames made late since the daemon started.
        polls_missed: frame times skipped since the daemon started.
        store_free_mb: room left on the disk of the store, 1e6 bytes, in whole ones;
            None when it is not known.
        delivery_failing: the first destination (a broker, a gateway) whose oldest
            message has waited longer than its limit; empty when none has.
    """

    store_ok: bool = True
    broker_ok: bool | None = None
    polls_late: int = 0
    polls_missed: int = 0
    store_free_mb: int | None = None
    delivery_failing: str = ""


@dataclass(frozen=True, slots=True)
class Frame:
    """Everything known about one rig at one tick of the clock.

    Attributes:
        seq: count of frames of this rig, rising by one, across restarts.
        t_ns: monotonic time since boot, ns; comparable only within `boot_id`.
        wall_ns: wall time since 1970, ns.
        wall_trusted: the wall clock was synchronised.
        boot_id: changes when the computer restarts.
        values: readings by channel name; a channel not fitted has no key.
        readback: outputs as read back; None where the read-back failed; an
            output not fitted has no key.
        health: of the supervisor itself.
        commands: what came in since the last frame, in order of arrival.
        utc_offset_s: local time minus UTC at this frame, s; for the times in
            messages only.
        limits_hash: names the limits in force, so that a record can always be
            judged again by the limits it was judged by.
    """

    seq: int
    t_ns: int
    wall_ns: int
    wall_trusted: bool
    boot_id: str
    values: Mapping[str, Reading]
    readback: Mapping[str, bool | None] = field(default_factory=dict)
    health: Health = Health()
    commands: tuple[Command, ...] = ()
    utc_offset_s: int = 0
    limits_hash: str = ""
