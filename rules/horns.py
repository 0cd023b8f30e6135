"""Which horn pattern sounds, and what a press at the rig and *quiet* do about it.

There are three patterns only. Stand clear is silenced only at the rig and sounds
again after two minutes. The others are answered by a press, so that whoever is
working on it is left in peace: they sound again when an unseen alarm of that
priority would come back, or at once when it gets worse.

Source:
    This project's design, "Horn".
"""

from collections.abc import Iterable
from dataclasses import replace

from rules.alarms import AlarmLimits, Standing
from rules.events import HORN_ORDER, Horn, Level
from rules.frame import NS_PER_S
from rules.hazards import BY_TAG
from rules.hazards.base import Finding
from rules.lifecycle import Life

SILENT_LIVES = frozenset({Life.SUPPRESSED, Life.OUT_OF_SERVICE})


def horn(standing: Iterable[Standing], now_ns: int) -> Horn:
    """The strongest pattern asked for now that may sound.

    Args:
        standing: all that stands.
        now_ns: process time, ns.

    Source:
        This project's design, "Horn".
    """
    loud = [item.horn for item in standing if _may_sound(item, now_ns)]
    return max(loud, key=HORN_ORDER.index, default=Horn.SILENT)


def _may_sound(item: Standing, now_ns: int) -> bool:
    if item.life in SILENT_LIVES:
        return False
    if item.horn is Horn.STAND_CLEAR:
        return now_ns >= item.stand_clear_ns
    return now_ns >= item.quiet_at_rig_ns and item.life is not Life.QUIET


def horn_of(tag: str, finding: Finding) -> Horn:
    """The pattern that a finding asks for.

    Args:
        tag: the hazard.
        finding: what it says.

    Source:
        Its row in the alarm table, unless the finding names another.
    """
    if finding.horn is not None:
        return finding.horn
    row = BY_TAG[tag].row
    return {Level.TRIP: row.trip_horn, Level.WARN: row.warn_horn}.get(finding.level, Horn.SILENT)


def louder(pattern: Horn, than: Horn) -> bool:
    """One pattern is more urgent than another.

    Source:
        The order of the three patterns.
    """
    return HORN_ORDER.index(pattern) > HORN_ORDER.index(than)


def silenced(limits: AlarmLimits, item: Standing, now_ns: int) -> Standing:
    """The horn of what stands after a press at the rig.

    Args:
        limits: for how long.
        item: what stands.
        now_ns: process time of the press, ns.

    Source:
        This project's design, "Horn".
    """
    quiet_s = limits.again_min(item.priority) * 60
    if item.horn is Horn.STAND_CLEAR:
        quiet_s = limits.stand_clear_again_s
    # What comes and goes may be away at the press, or be something less.
    stand_clear_ns = now_ns + int(limits.stand_clear_again_s * NS_PER_S)
    quiet_ns = now_ns + int(quiet_s * NS_PER_S)
    return replace(item, quiet_at_rig_ns=quiet_ns, stand_clear_ns=stand_clear_ns)
