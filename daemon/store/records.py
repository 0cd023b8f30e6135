"""What the store gives back: runs, events, checkpoints and deliveries."""

from dataclasses import dataclass

from daemon.outgoing import Outgoing
from rules.events import Event, PermitChanged


@dataclass(frozen=True, slots=True)
class RunRecord:
    """One run, open or closed.

    Attributes:
        id: unique in the store; the RUN a person types.
        rig: name of the rig.
        number: number of the run on that rig.
        opened_seq: seq of the frame that opened it.
        opened_wall_ns: wall time of that frame, ns since 1970.
        closed_seq: seq of the last frame of the run; None while open.
        closed_wall_ns: wall time of that frame; None while open.
        outcome: as in `RunClosed`; `unknown` when the next run opened and this
            one had never been closed; None while open.
        hold_s: hold clock at the end, s; None while open.
        limits_hash: SHA-256 of the limits in force, hexadecimal.
        rules_version: of the rules that judged it.
        software_version: of the program that opened it.
    """

    id: int
    rig: str
    number: int
    opened_seq: int
    opened_wall_ns: int
    closed_seq: int | None
    closed_wall_ns: int | None
    outcome: str | None
    hold_s: float | None
    limits_hash: str
    rules_version: str
    software_version: str


@dataclass(frozen=True, slots=True)
class EventRecord:
    """One stored event.

    Attributes:
        rig: name of the rig.
        seq: of the frame that led to it.
        n: place among the events of that frame, from 0.
        run: number of the run on that rig, 0 between runs.
        wall_ns: wall time of the frame, ns since 1970.
        event: as the rules gave it.
        hash: its link in the rig's chain, hexadecimal.
    """

    rig: str
    seq: int
    n: int
    run: int
    wall_ns: int
    event: Event
    hash: str


@dataclass(frozen=True, slots=True)
class CheckpointRecord:
    """A saved state.

    Attributes:
        seq: the state holds every frame of the rig up to and including this
            one; folding goes on with `seq + 1`.
        version: the `rules_version` that made it.
        body: as it was handed in.
    """

    seq: int
    version: str
    body: bytes


@dataclass(frozen=True, slots=True)
class Resume:
    """Where a rig's record stands.

    Attributes:
        checkpoint: the newest saved state; None if there is none.
        first_seq: fold the stored frames from here: the one after the
            checkpoint, else the first one there is.
        last_seq: of the newest stored frame; None for a rig never seen.
        open_run: the run that was open; None between runs.
        run_number_max: the greatest run number on this rig so far, 0 if none.
        permit: the newest change of the heat permit; None if there is none.
    """

    checkpoint: CheckpointRecord | None
    first_seq: int
    last_seq: int | None
    open_run: RunRecord | None
    run_number_max: int
    permit: PermitChanged | None = None


@dataclass(frozen=True, slots=True)
class Delivery:
    """The next message for one destination.

    Attributes:
        seq: of the message; names it to `delivered` and `postpone`.
        outgoing: the message.
        attempts: how often it was tried and put off.
    """

    seq: int
    outgoing: Outgoing
    attempts: int


@dataclass(frozen=True, slots=True)
class BadRow:
    """The first row at which a rig's record does not agree with itself.

    Attributes:
        rig: name of the rig.
        seq: of the event's frame, or the first frame of the segment.
        n: place of the event in its frame; 0 for a segment.
        what: what does not agree, for maintenance.
    """

    rig: str
    seq: int
    n: int
    what: str
