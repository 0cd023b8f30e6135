"""What one cause brings with it is told in one message: that of its leader.

An alarm follows another when its row says that the other brings it, the other
stands at least as high, is at least as urgent and speaks, and it began soon after.
Where two show the same trouble and either may be the first, the one told first leads.
To stand clear is never told in the message of what does not say so.
It is then recorded without a message of its own. When the leader ends, or this
one rises above it, it speaks for itself.

Source:
    This project's design, "one message with burst"; IEC 62682 / ISA-18.2 on
    alarm floods from one cause.
"""

from collections.abc import Mapping

from rules.alarms import AlarmLimits, Standing
from rules.events import Horn, Level
from rules.frame import NS_PER_S
from rules.hazards import BY_TAG
from rules.hazards.base import Priority, Urgency
from rules.lifecycle import SPEAKING


def _depth(tag: str, above: frozenset[str] = frozenset()) -> int:
    """How many steps a hazard is from what may have caused it; unknown names count nothing."""
    if tag in above or tag not in BY_TAG:
        return -1
    return 1 + max((_depth(up, above | {tag}) for up in BY_TAG[tag].row.follows), default=-1)


URGENCIES = (Urgency.MORNING, Urgency.GO_BY, Urgency.GO_NOW)
PRIORITIES = (Priority.LOW, Priority.MEDIUM, Priority.HIGH)

# Causes before what they bring; and since one follows only what is nearer to the
# cause, no two can ever follow each other and both be silent.
DEPTH = {tag: _depth(tag) for tag in BY_TAG}


def _weight(item: Standing) -> tuple[int, int, int]:
    return item.level, URGENCIES.index(item.urgency), PRIORITIES.index(item.priority)


def leader_of(limits: AlarmLimits, item: Standing, items: Mapping[str, Standing]) -> str:
    """The alarm whose message covers this one, or empty.

    Args:
        limits: how soon after the leader it must have begun.
        item: the alarm, as it now stands.
        items: all that stands, by tag; causes already settled.

    Source:
        Own method.
    """
    # Whoever has been told of it once hears of it until it is over.
    if item.level <= Level.PROMPT or item.told:
        return ""
    row = BY_TAG[item.tag].row
    for tag in row.follows + row.told_with:
        leader = items.get(tag)
        if leader is not None and _leads(limits, leader, item):
            return tag
    return ""


def _leads(limits: AlarmLimits, leader: Standing, item: Standing) -> bool:
    if leader.level <= Level.PROMPT or leader.life not in SPEAKING:
        return False
    # What is told with another must not come later, or to fewer people, than by itself.
    if any(mine < its for mine, its in zip(_weight(leader), _weight(item), strict=True)):
        return False
    if item.horn is Horn.STAND_CLEAR is not leader.horn:
        return False
    if not _is_nearer(leader, item):
        return False
    soon_ns = leader.rose_ns + int(limits.follow_min * 60 * NS_PER_S)
    return leader.since_ns <= item.rose_ns <= soon_ns


def _is_nearer(leader: Standing, item: Standing) -> bool:
    """The leader comes first; nothing that this lets follow can lead round to itself.

    What has been told follows nothing, what is lesser leads nothing worse, and among
    the rest each is further from the cause than its leader.
    """
    if leader.tag in BY_TAG[item.tag].row.told_with:
        return leader.told or leader.level > item.level
    return DEPTH[leader.tag] < DEPTH[item.tag]
