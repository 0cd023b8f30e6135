"""What is told of an alarm as it stands: its message, and the events that carry it.

Source:
    This project's design; the words are in `rules.messages`.
"""

from collections.abc import Sequence
from dataclasses import replace

from rules.alarms import Standing, brought_by
from rules.events import AlarmChanged, Level
from rules.hazards import BY_TAG
from rules.hazards.base import Finding
from rules.lifecycle import Life
from rules.messages import (
    Subject,
    Telling,
    Told,
    alarm_told,
    follower_told,
    over_told,
    prompt_told,
)

STATES = {Level.WARN: "warn", Level.TRIP: "trip"}


def subject_of(item: Standing, finding: Finding | None, standing: Sequence[Standing]) -> Subject:
    """An alarm as a message speaks of it: with today's figures as far as there are any.

    Args:
        item: the alarm.
        finding: what its hazard says now, or None.
        standing: all that stands.

    Source:
        Own method.
    """
    now = finding if finding is not None and finding.level is item.level else None
    brings = brought_by(standing, item.tag)
    also = [
        other
        for other in standing
        if other.tag != item.tag and other.told and not other.follows and other not in brings
    ]
    return Subject(
        BY_TAG[item.tag].row,
        item.level,
        now.said if now else item.said,
        item.since_wall_ns,
        go_by_s=now.go_by_s if now else None,
        save_s=now.save_s if now else None,
        horn=item.horn,
        seen_by=item.seen_by,
        going_by=item.going_by,
        also=tuple(BY_TAG[other.tag].row.title for other in also),
        brings=tuple(BY_TAG[other.tag].row.title for other in brings),
    )


def told_of(telling: Telling, subject: Subject, follows: str) -> Told:
    """The message of an alarm or prompt that has just begun or changed its level.

    Args:
        telling: who tells, and when.
        subject: the alarm.
        follows: the alarm that brought it and says what to do, or empty.

    Source:
        `rules.messages`.
    """
    if subject.level is Level.PROMPT:
        return prompt_told(telling, subject.said, subject.row)
    if follows:
        return follower_told(telling, subject, BY_TAG[follows].row)
    return alarm_told(telling, subject)


def changed(item: Standing) -> AlarmChanged:
    """The event of an alarm that began, changed its level, or now speaks for itself.

    Source:
        Own format.
    """
    return AlarmChanged(
        item.tag,
        STATES[item.level],
        item.said,
        item.text,
        item.order,
        item.follows,
        item.page,
        item.life.value,
        BY_TAG[item.tag].row.priority.value,
        item.told,
    )


def cleared(telling: Telling, item: Standing, life: Life, *, told: bool) -> AlarmChanged:
    """The event of an alarm that is over.

    Args:
        telling: who tells, and when.
        item: as it last stood.
        life: where it is now in its lifecycle.
        told: it is to be told as a message of its own.

    Source:
        Own format.
    """
    # Whoever comes later asks how bad it was, not how it ended.
    subject = subject_of(replace(item, level=item.worst), None, ())
    words = over_told(telling, subject)
    priority = BY_TAG[item.tag].row.priority.value
    return AlarmChanged(
        item.tag, "clear", "", words.short, 0, "", words.page, life.value, priority, told
    )
