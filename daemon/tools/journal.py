"""`curehold alarms journal`: which part of the record, and when the horn sounded.

When the horn sounded is read from its output as read back, frame by frame:
a frame in ten is the short chirp, three in five is long with gaps.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, takewhile

from daemon.notify.messages import utc_text
from daemon.outputs import PATTERNS
from daemon.store.reader import StoreReader
from daemon.store.records import EventRecord
from daemon.tools.journal_words import HornHeard, in_short, journal_lines
from daemon.tools.show import say, say_json, say_wrapped
from rules.events import (
    AlarmChanged,
    AlarmLife,
    CommandAnswered,
    Escalated,
    Event,
    Horn,
    Nuisance,
    Pressed,
    as_dict,
)
from rules.frame import NS_PER_S, Frame

BEFORE_S, AFTER_S = 600, 1800
NEVER_NS = 2**63 - 1
ROWS_MAX = 10_000
# A day at a frame a second: the horn of what lies further back is not looked for.
HORN_FRAMES_MAX = 86_400
# Off for longer than the longest gap of a pattern: it has ended.
HORN_GAP_FRAMES = max(off for _, off in PATTERNS.values()) + 1
ALARM_EVENTS = (AlarmChanged, AlarmLife, Escalated, Nuisance)
PEOPLE_EVENTS = (Pressed, CommandAnswered)


@dataclass(frozen=True, slots=True)
class Asked:
    """Which part of the record is wanted.

    Attributes:
        rig: only this rig; empty: every rig.
        run_id: only this run.
        since_wall_ns: from then on, ns since 1970; None: the newest `rows_max`.
        around: the newest upset with this alarm, some time before and after.
        only: `alarms` or `people`; empty: everything.
        rows_max: so many events at most, the newest.
    """

    rig: str = ""
    run_id: int | None = None
    since_wall_ns: int | None = None
    around: str = ""
    only: str = ""
    rows_max: int = 200


def show_journal(reader: StoreReader, asked: Asked, *, as_json: bool) -> int:
    """Tell it; 0."""
    found = list(_found(reader, asked))
    kept = [item for item in found if _wanted(item.event, asked.only)]
    horns = [] if asked.only == "alarms" else list(horn_heard(reader, found))
    if as_json:
        for item in kept:
            say_json(_body(item))
        for heard in horns:
            say_json(_horn_body(heard))
        return 0
    if not kept:
        say("Nothing of that is on record.")
        return 0
    for line in journal_lines(kept, horns):
        lead = line[: len(line) - len(line.lstrip())]
        say_wrapped(line.strip(), indent=lead, hang=lead + "  ")
    for line in in_short(found, horns):
        say_wrapped(line, indent="", hang="  ")
    return 0


def _body(item: EventRecord) -> dict[str, object]:
    return {
        "rig": item.rig,
        "run": item.run or None,
        "time_utc": utc_text(item.wall_ns),
        "seq": item.seq,
        "n": item.n,
        **as_dict(item.event),
    }


def _horn_body(heard: HornHeard) -> dict[str, object]:
    return {
        "rig": heard.rig,
        "time_utc": utc_text(heard.first_wall_ns),
        "event": "horn_heard",
        "pattern": heard.pattern.value,
        "until_utc": utc_text(heard.last_wall_ns),
    }


def _found(reader: StoreReader, asked: Asked) -> Iterable[EventRecord]:
    if asked.run_id is not None:
        return list(reader.events(asked.run_id))[-asked.rows_max :]
    if asked.around:
        span = upset(reader.happened(rig=asked.rig, tag=asked.around, rows_max=ROWS_MAX))
        if span is None:
            return []
        rig, since_ns, until_ns = span
        return reader.happened(
            rig=rig,
            since_wall_ns=since_ns - BEFORE_S * NS_PER_S,
            until_wall_ns=min(until_ns + AFTER_S * NS_PER_S, NEVER_NS),
            rows_max=ROWS_MAX,
        )
    if asked.since_wall_ns is None:
        return reader.happened(rig=asked.rig, rows_max=asked.rows_max)
    return reader.happened(
        rig=asked.rig, since_wall_ns=asked.since_wall_ns, rows_max=asked.rows_max
    )


def upset(changes: Sequence[EventRecord]) -> tuple[str, int, int] | None:
    """Rig, beginning and end, ns since 1970, of the newest time one alarm stood.

    Args:
        changes: events about one hazard, in order of time.

    Returns:
        None when it never stood; while it stands there is no end.
    """
    alarms = [item for item in changes if isinstance(item.event, AlarmChanged)]
    if not alarms:
        return None
    last = alarms[-1]
    mine = [item for item in alarms if item.rig == last.rig]
    stands = not _is_over(last.event)
    raised = takewhile(
        lambda item: not _is_over(item.event), reversed(mine if stands else mine[:-1])
    )
    begin_ns = min((item.wall_ns for item in raised), default=last.wall_ns)
    return last.rig, begin_ns, NEVER_NS if stands else last.wall_ns


def _is_over(event: Event) -> bool:
    return isinstance(event, AlarmChanged) and event.state == "clear"


def _wanted(event: Event, only: str) -> bool:
    if only == "alarms":
        return isinstance(event, ALARM_EVENTS)
    if only == "people":
        return isinstance(event, PEOPLE_EVENTS) or (
            isinstance(event, AlarmLife) and bool(event.who or event.via)
        )
    return True


def horn_heard(reader: StoreReader, found: Sequence[EventRecord]) -> Iterator[HornHeard]:
    """When the horn sounded between the first and the last event, rig by rig."""
    for rig in dict.fromkeys(item.rig for item in found):
        seqs = [item.seq for item in found if item.rig == rig]
        last_seq = max(seqs)
        first_seq = max(min(seqs), last_seq - HORN_FRAMES_MAX)
        yield from heard_in(rig, reader.frames_between(rig, first_seq, last_seq))


def heard_in(rig: str, frames: Iterable[Frame]) -> Iterator[HornHeard]:
    """When the horn's output was read back on, from the frames of a rig in order."""
    on: list[tuple[int, int]] = []
    for frame in frames:
        if frame.readback.get("horn") is not True:
            continue
        if on and frame.seq - on[-1][0] > HORN_GAP_FRAMES:
            yield _heard(rig, on)
            on = []
        on.append((frame.seq, frame.wall_ns))
    if on:
        yield _heard(rig, on)


def _heard(rig: str, on: Sequence[tuple[int, int]]) -> HornHeard:
    """The pattern by the longest time it sounded without a gap."""
    longest = length = 1
    for before, after in pairwise(on):
        length = length + 1 if after[0] == before[0] + 1 else 1
        longest = max(longest, length)
    pattern = Horn.COME_WHEN_YOU_CAN
    if longest > PATTERNS[Horn.COME_NOW][0]:
        pattern = Horn.STAND_CLEAR
    elif longest > PATTERNS[Horn.COME_WHEN_YOU_CAN][0]:
        pattern = Horn.COME_NOW
    return HornHeard(rig, on[0][1], on[-1][1], pattern)
