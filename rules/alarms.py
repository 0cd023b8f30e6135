"""Which alarms stand, since when, in which order they started, who has seen them.

Source:
    This project's design; started-with order and *seen* follow IEC 62682 /
    ISA-18.2. The full lifecycle of those standards comes later.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rules.events import HORN_ORDER, AlarmChanged, Event, Horn, Level, Prompted
from rules.frame import NS_PER_S, Frame
from rules.hazards import BY_TAG
from rules.hazards.base import Finding
from rules.messages import alarm_text, cleared_text, follower_text, prompt_text

QUIET_MIN_MAX = 60.0
QUIET_AT_RIG_S = 120


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm or prompt that stands.

    Attributes:
        tag: the hazard.
        level: prompt, warn or trip.
        since_ns: process time at which it appeared, ns.
        since_wall_ns: the same by the wall clock, ns since 1970.
        order: place in the started-with order, from 1 whenever nothing stood before.
        said: what was seen when the level last changed.
        text: the message then made.
        horn: pattern asked for now.
        follows: the standing trip whose message covers this one, or empty.
        seen_by: who said *seen*, or empty.
        going_by: who said *going*, or empty.
        quiet_until_ns: process time until which someone afar keeps its horn quiet, ns.
        quiet_at_rig_ns: process time until which a press at the rig does, ns.
    """

    tag: str
    level: Level
    since_ns: int
    since_wall_ns: int
    order: int
    said: str
    text: str
    horn: Horn = Horn.SILENT
    follows: str = ""
    seen_by: str = ""
    going_by: str = ""
    quiet_until_ns: int = 0
    quiet_at_rig_ns: int = 0


@dataclass(frozen=True, slots=True)
class Alarms:
    """All that stands, in started-with order.

    Attributes:
        standing: alarms and prompts.
        started: how many have started so far, for the order.
    """

    standing: tuple[Standing, ...] = ()
    started: int = 0

    def tags(self, level: Level) -> tuple[str, ...]:
        """Tags that stand at `level` or worse, in started-with order.

        Source:
            Own method.
        """
        return tuple(item.tag for item in self.standing if item.level >= level)


def update(
    alarms: Alarms,
    findings: Sequence[tuple[str, Finding]],
    frame: Frame,
    now_ns: int,
    *,
    title: str,
    watch_only: bool,
) -> tuple[Alarms, tuple[Event, ...]]:
    """The alarms after one frame's findings, and what changed.

    Args:
        alarms: so far.
        findings: tag and finding, only those that are not clear.
        frame: for the times in the messages.
        now_ns: process time, ns.
        title: the rig's name.
        watch_only: for the words.

    Source:
        This project's design.
    """
    if not findings and not alarms.standing:
        return alarms, ()
    found = dict(findings)
    tripped = frozenset(tag for tag, finding in findings if finding.level is Level.TRIP)
    known = {item.tag for item in alarms.standing}
    standing: list[Standing] = []
    events: list[Event] = []
    started = alarms.started if alarms.standing else 0
    telling = _Telling(frame, title, tripped, watch_only)
    for item in alarms.standing:
        finding = found.get(item.tag)
        if finding is None:
            if item.level > Level.PROMPT:
                events.append(_cleared(item, frame, title))
            continue
        changed = item
        # Whoever led it is over: now it must say itself what to do.
        if finding.level != item.level or (item.follows and item.follows not in tripped):
            changed = _changed(item, finding, telling)
            events.append(_event(changed, telling, was=item.level))
        standing.append(_with_horn(changed, finding))
    for tag, finding in findings:
        if tag in known:
            continue
        started += 1
        blank = Standing(tag, Level.CLEAR, now_ns, frame.wall_ns, started, "", "")
        item = _changed(blank, finding, telling)
        events.append(_event(item, telling, was=Level.CLEAR))
        standing.append(_with_horn(item, finding))
    return replace(alarms, standing=tuple(standing), started=started), tuple(events)


@dataclass(frozen=True, slots=True)
class _Telling:
    """What the words of a message depend on besides the alarm."""

    frame: Frame
    title: str
    tripped: frozenset[str]
    watch_only: bool


def _changed(item: Standing, finding: Finding, telling: _Telling) -> Standing:
    row, level = BY_TAG[item.tag].row, finding.level
    follows = next((tag for tag in row.follows if tag in telling.tripped), "")
    if level is Level.PROMPT:
        text = prompt_text(telling.title, finding.said)
    elif follows:
        text = follower_text(telling.title, row, BY_TAG[follows].row, finding.said)
    else:
        text = alarm_text(
            telling.title,
            row,
            level,
            finding.said,
            telling.frame,
            watch_only=telling.watch_only,
        )
    # A worse level is news: whoever had seen the lesser one has not seen this.
    fresh = level > item.level
    return replace(
        item,
        level=level,
        said=finding.said,
        text=text,
        follows=follows,
        seen_by="" if fresh else item.seen_by,
        quiet_until_ns=0 if fresh else item.quiet_until_ns,
        quiet_at_rig_ns=0 if fresh else item.quiet_at_rig_ns,
    )


def _event(item: Standing, telling: _Telling, *, was: Level) -> Event:
    if item.level is Level.PROMPT:
        if was > Level.PROMPT:
            return _cleared(item, telling.frame, telling.title)
        return Prompted(item.tag, item.said, item.text)
    state = "trip" if item.level is Level.TRIP else "warn"
    return AlarmChanged(item.tag, state, item.said, item.text, item.order, item.follows)


def _cleared(item: Standing, frame: Frame, title: str) -> AlarmChanged:
    row = BY_TAG[item.tag].row
    return AlarmChanged(item.tag, "clear", "", cleared_text(title, row, frame), 0)


def _with_horn(item: Standing, finding: Finding) -> Standing:
    row = BY_TAG[item.tag].row
    horn = finding.horn
    if horn is None:
        horn = {Level.TRIP: row.trip_horn, Level.WARN: row.warn_horn}.get(item.level, Horn.SILENT)
    if horn is item.horn:
        return item
    if HORN_ORDER.index(horn) > HORN_ORDER.index(item.horn):
        # A louder horn is news, even to whoever asked for quiet.
        return replace(item, horn=horn, quiet_until_ns=0, quiet_at_rig_ns=0)
    return replace(item, horn=horn)


def horn(alarms: Alarms, now_ns: int) -> Horn:
    """The strongest pattern now asked for that is not quiet.

    Quiet from afar never covers "stand clear"; that is silenced only at the rig,
    and sounds again after two minutes.

    Source:
        This project's design, "Horn".
    """
    loud = [
        item.horn
        for item in alarms.standing
        if now_ns >= item.quiet_at_rig_ns
        and (now_ns >= item.quiet_until_ns or item.horn is Horn.STAND_CLEAR)
    ]
    return max(loud, key=HORN_ORDER.index, default=Horn.SILENT)


def pressed_at_rig(alarms: Alarms, now_ns: int) -> Alarms:
    """Someone pressed a button at the rig: what stands is quiet for two minutes.

    What starts or worsens later sounds at once.

    Source:
        This project's design, "Horn".
    """
    if not alarms.standing:
        return alarms
    until_ns = now_ns + QUIET_AT_RIG_S * NS_PER_S
    return replace(
        alarms,
        standing=tuple(replace(item, quiet_at_rig_ns=until_ns) for item in alarms.standing),
    )
