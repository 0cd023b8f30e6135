"""When an alarm comes back, and when more people are told because nobody came.

*Seen* is not *going*, and *going* is not there: only a press at the rig shows that
somebody came, and stops the escalation of what stood. An alarm has three steps,
each once for each level it rises to, and one call stands for all on the rig that is no
worse, so that nobody's night is made a storm. What comes back takes twice as long each
time.

Source:
    This project's design; IEC 62682 / ISA-18.2 on re-alarming. The times: common
    practice, no source.
"""

from dataclasses import replace

from rules.alarms import NEVER, AlarmLimits, Standing
from rules.events import HORN_ORDER, Level
from rules.frame import NS_PER_S
from rules.hazards.base import Priority, Urgency
from rules.lifecycle import Life

STEPS = 3


def patience_min(limits: AlarmLimits, item: Standing) -> float | None:
    """How long it waits for a person before it escalates, min; None: it does not.

    Args:
        limits: the times.
        item: an alarm that speaks.

    Source:
        This project's design.
    """
    if item.attended:
        return None
    if item.going_by:
        return limits.going_min
    if _is_quiet(item):
        return None
    now = item.urgency is Urgency.GO_NOW
    if item.seen_by:
        return limits.seen_only_min if now and item.priority is Priority.HIGH else None
    if now and item.worst is Level.TRIP:
        return limits.trip_unseen_min
    can_wait = item.urgency is Urgency.MORNING or item.priority is not Priority.HIGH
    return None if can_wait else limits.high_unseen_min


def why(limits: AlarmLimits, item: Standing) -> str:
    """Why it escalates, in words.

    Source:
        Own words.
    """
    waited_min = patience_min(limits, item) or 0.0
    if item.going_by:
        return f"{item.going_by} is going, but nobody pressed at the rig in {waited_min:.0f} min"
    if item.seen_by:
        return f"seen by {item.seen_by}, but nobody pressed at the rig in {waited_min:.0f} min"
    return f"nobody has seen it in {waited_min:.0f} min"


def armed(limits: AlarmLimits, item: Standing, now_ns: int) -> Standing:
    """An alarm from now on waiting for people, by what is known of them.

    Args:
        limits: the times.
        item: an alarm that speaks.
        now_ns: process time, ns.

    Source:
        Own method.
    """
    patience = patience_min(limits, item) if item.steps < STEPS else None
    return replace(
        item,
        again_ns=_again_ns(limits, item, now_ns, 0),
        again_times=0,
        escalate_ns=NEVER if patience is None else after_min(now_ns, patience),
    )


def disarmed(item: Standing) -> Standing:
    """An alarm that says nothing: it neither comes back nor escalates.

    Source:
        Own method.
    """
    return replace(item, again_ns=NEVER, escalate_ns=NEVER)


def come_back(limits: AlarmLimits, item: Standing, now_ns: int) -> Standing:
    """An alarm that has just come back.

    Source:
        Own method.
    """
    times = item.again_times + 1
    return replace(item, again_times=times, again_ns=_again_ns(limits, item, now_ns, times))


def escalated(limits: AlarmLimits, item: Standing, now_ns: int, step: int) -> Standing:
    """An alarm that has just gone up to a step; what is told in it need not come back now.

    Args:
        limits: the times.
        item: the alarm.
        now_ns: process time, ns.
        step: how far it has come now, 1 to 3.

    Source:
        Own method.
    """
    again = come_back(limits, item, now_ns)
    patience = patience_min(limits, item) if step < STEPS else None
    return replace(
        again,
        steps=step,
        escalate_ns=NEVER if patience is None else after_min(now_ns, patience),
    )


def weight(item: Standing) -> tuple[int, int]:
    """How bad it is, for which of several to tell: by level, then by how its horn calls.

    Source:
        Own method.
    """
    return item.worst, HORN_ORDER.index(item.horn)


def covered(limits: AlarmLimits, item: Standing, caller: Standing, now_ns: int) -> Standing:
    """An alarm beside another for which people have just been called again.

    They come to the same rig and see all that stands there; so what is no worse does
    not come back on its heels.

    Args:
        limits: the times.
        item: the alarm.
        caller: the other, after it has called.
        now_ns: process time, ns.

    Source:
        This project's design: never a storm.
    """
    soon_ns = after_min(now_ns, limits.high_again_min)
    if weight(item) > weight(caller) or item.again_ns > soon_ns:
        return item
    return come_back(limits, item, now_ns)


def carried_up(item: Standing, caller: Standing) -> Standing:
    """An alarm beside another that has just escalated: what is no worse goes up with it.

    Only an escalation does this. One that merely comes back may have been attended long
    before this one began, and nobody has come for this one.

    Args:
        item: the alarm.
        caller: the other, after it has escalated.

    Source:
        This project's design: never a storm.
    """
    if weight(item) > weight(caller) or item.escalate_ns == NEVER:
        return item
    # Who has seen it or is going is waited for all the same.
    if item.seen_by or caller.steps < item.steps:
        return item
    escalate_ns = NEVER
    if caller.steps < STEPS:
        escalate_ns = max(item.escalate_ns, min(caller.escalate_ns, NEVER - 1))
    return replace(item, steps=caller.steps, escalate_ns=escalate_ns)


def _again_ns(limits: AlarmLimits, item: Standing, now_ns: int, times: int) -> int:
    if _is_quiet(item):
        return NEVER
    wait_min = limits.again_min(item.priority)
    if item.seen_by or item.attended:
        wait_min *= limits.seen_again_factor
    # A cure has no time for more doublings than these; and none overflows.
    return after_min(now_ns, min(wait_min * 2 ** min(times, 10), limits.again_min_max))


def _is_quiet(item: Standing) -> bool:
    # Of a trip only the horn is quiet.
    return item.life is Life.QUIET and item.level is not Level.TRIP


def after_min(now_ns: int, minutes: float) -> int:
    """Process time so many minutes from now, ns.

    Source:
        Own method.
    """
    return now_ns + int(minutes * 60 * NS_PER_S)
