"""When alarms become noise: one that comes and goes, and too many at once.

Nothing here touches what is found, by which heat is decided: only how often
people are told.

Source:
    EEMUA 191 and IEC 62682 / ISA-18.2: 3 or more times a minute is chattering,
    more than 10 new alarms in 10 min is a flood, standing over 24 h is stale. That
    a flood ends below 5 in 10 min: ISA-18.2, from memory.
"""

from rules.alarms import AlarmLimits, Standing
from rules.frame import NS_PER_S
from rules.hazards.base import Priority


def falls_with(
    limits: AlarmLimits, falls: tuple[int, ...], now_ns: int
) -> tuple[tuple[int, ...], bool]:
    """The times at which an alarm lately went, with one more; and whether it chatters.

    Args:
        limits: how often within which time.
        falls: process times so far, oldest first, ns.
        now_ns: process time of this one, ns.

    Source:
        EEMUA 191: 3 or more times a minute.
    """
    horizon_ns = now_ns - int(limits.chatter_s * NS_PER_S)
    kept = (*(at_ns for at_ns in falls if at_ns > horizon_ns), now_ns)
    return kept, len(kept) >= limits.chatter_falls


def raised_with(limits: AlarmLimits, raised_ns: tuple[int, ...], now_ns: int) -> tuple[int, ...]:
    """The times at which alarms were newly raised, with one more, oldest first, ns.

    Source:
        Own method; no more are kept than make a flood.
    """
    horizon_ns = now_ns - int(limits.flood_min * 60 * NS_PER_S)
    kept = (*(at_ns for at_ns in raised_ns if at_ns > horizon_ns), now_ns)
    return kept[-(limits.flood_alarms + 1) :]


def is_flood(limits: AlarmLimits, raised_ns: tuple[int, ...]) -> bool:
    """More alarms than one person can take were raised lately.

    Source:
        EEMUA 191: more than 10 in 10 min.
    """
    return len(raised_ns) > limits.flood_alarms


def flood_ends_ns(limits: AlarmLimits, raised_ns: tuple[int, ...]) -> int:
    """When a flood ends if nothing more is raised, process time, ns.

    Source:
        ISA-18.2, from memory: fewer than 5 in 10 min.
    """
    if len(raised_ns) < limits.flood_ends_alarms:
        return 0
    return raised_ns[-limits.flood_ends_alarms] + int(limits.flood_min * 60 * NS_PER_S)


def minor(item: Standing) -> bool:
    """In a flood it is not told as a message of its own.

    Source:
        This project's design: only trips and high priority are.
    """
    return item.priority is not Priority.HIGH
