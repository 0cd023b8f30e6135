"""How one standing alarm changes: begins, rises, eases, and answers phase and time.

Each function gives the alarm afterwards; where it is in its lifecycle comes from
the table of `rules.lifecycle` alone.

Source:
    IEC 62682 / ISA-18.2; this project's design.
"""

from dataclasses import replace

from rules.alarms import NEVER, AlarmLimits, Standing
from rules.escalation import after_min, armed, disarmed
from rules.events import Level
from rules.hazards import BY_TAG
from rules.hazards.base import Finding
from rules.horns import horn_of, louder
from rules.lifecycle import Happening, Life, after
from rules.phases import Phase
from rules.view import View


def begun(
    limits: AlarmLimits, tag: str, finding: Finding, view: View, *, order: int, life: Life
) -> Standing:
    """An alarm or prompt that begins with this frame.

    Args:
        limits: for when it is stale.
        tag: the hazard.
        finding: what it says.
        view: the frame.
        order: its place in the started-with order.
        life: where it was in its lifecycle.

    Source:
        IEC 62682 / ISA-18.2.
    """
    new = Standing(
        tag,
        finding.level,
        view.now_ns,
        view.frame.wall_ns,
        order,
        finding.said,
        "",
        horn_of(tag, finding),
    )
    if finding.level is Level.PROMPT:
        return new
    happening = Happening.TRIPPED
    if finding.level is Level.WARN:
        silent = view.phase in BY_TAG[tag].row.silent_in
        happening = Happening.SUPPRESSED if silent else Happening.RAISED
    return replace(
        new,
        life=after(life, happening),
        worst=finding.level,
        rose_ns=view.now_ns,
        stale_ns=after_min(view.now_ns, limits.stale_h * 60),
    )


def tripped(item: Standing, finding: Finding, now_ns: int) -> Standing:
    """A warning that becomes a trip: whoever had seen the lesser one has not seen this.

    Source:
        IEC 62682 / ISA-18.2; that a trip ends every silence: this project's design.
    """
    return replace(
        item,
        level=finding.level,
        worst=finding.level,
        life=after(item.life, Happening.TRIPPED),
        rose_ns=now_ns,
        said=finding.said,
        horn=horn_of(item.tag, finding),
        told=False,
        follows="",
        seen_by="",
        going_by="",
        quiet_why="",
        quiet_at_rig_ns=0,
        stand_clear_ns=0,
        attended=False,
        again_ns=NEVER,
        escalate_ns=NEVER,
        steps=0,
        settle_ns=NEVER,
    )


def eased(item: Standing, finding: Finding) -> Standing:
    """A trip that becomes a warning.

    Source:
        Own method.
    """
    return replace(
        item,
        level=finding.level,
        life=after(item.life, Happening.EASED),
        said=finding.said,
        horn=horn_of(item.tag, finding),
        held=False,
        settle_ns=NEVER,
    )


def heard_again(item: Standing, finding: Finding, now_ns: int) -> Standing:
    """An alarm found at the level at which it stands; the same object when all is as it was.

    Source:
        Own method.
    """
    pattern = horn_of(item.tag, finding)
    if item.settle_ns != NEVER:
        item = replace(item, settle_ns=NEVER)
    if pattern is item.horn:
        return item
    # What comes and goes is the same as before, and a press has answered it.
    if item.held or not louder(pattern, item.horn):
        return replace(item, horn=pattern)
    # A louder horn is news, even to whoever asked for quiet.
    quiet_until_ns = min(item.quiet_until_ns, now_ns)
    return replace(
        item, horn=pattern, quiet_at_rig_ns=0, stand_clear_ns=0, quiet_until_ns=quiet_until_ns
    )


def by_phase(item: Standing, phase: Phase) -> Standing:
    """A warning suppressed by design, or no longer, in this phase.

    One that has been a trip speaks until it is over.

    Source:
        IEC 62682 / ISA-18.2, suppressed by design.
    """
    if phase not in BY_TAG[item.tag].row.silent_in or item.worst is not Level.WARN:
        life = after(item.life, Happening.SUPPRESSION_OVER)
        return item if life is item.life else replace(item, life=life)
    life = after(item.life, Happening.SUPPRESSED)
    return item if life is item.life else disarmed(replace(item, life=life, told=False))


def by_time(limits: AlarmLimits, item: Standing, now_ns: int) -> Standing:
    """An alarm whose *quiet* has ended stands as if nobody had seen it.

    Source:
        IEC 62682 / ISA-18.2, from shelved to unacknowledged.
    """
    if item.life is not Life.QUIET or now_ns < item.quiet_until_ns:
        return item
    life = after(item.life, Happening.QUIET_OVER)
    loud = replace(
        item,
        life=life,
        seen_by="",
        going_by="",
        quiet_why="",
        quiet_until_ns=NEVER,
        attended=False,
    )
    return armed(limits, loud, now_ns) if loud.told else loud
