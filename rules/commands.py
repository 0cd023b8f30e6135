"""What people may ask from afar, and how each request is answered.

Start, reset and presence are not here: they come from the buttons at the rig.
Nothing here changes what is found, and so neither heat nor what a hazard judges: it
changes only who is told, and when.

Source:
    This project's design; IEC 62682 / ISA-18.2 for what can be asked of an alarm
    in which state.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from rules.alarms import (
    NEVER,
    AlarmLimits,
    Alarms,
    OutOfService,
    Standing,
    back_in_service,
    brought_by,
)
from rules.escalation import after_min, armed, disarmed
from rules.events import AlarmLife, CommandAnswered, Event, Horn, Level
from rules.frame import Command
from rules.hazards import BY_TAG
from rules.lifecycle import Happening, Life, after, can
from rules.messages import Telling, Told, in_service_told, out_of_service_told

IDS_KEPT = 64
NOTE_CHARACTERS_MAX = 500
WIRED = "start, reset and presence come only from the buttons at the rig"


@dataclass(frozen=True, slots=True)
class _Asking:
    """One command, when and about what."""

    limits: AlarmLimits
    alarms: Alarms
    command: Command
    now_ns: int
    telling: Telling

    def wall_ns(self, process_ns: int) -> int:
        """A process time by the wall clock, ns since 1970."""
        return self.telling.wall_ns + process_ns - self.now_ns


@dataclass(frozen=True, slots=True)
class _Refused:
    """Not done, and why."""

    why: str


@dataclass(frozen=True, slots=True)
class _Done:
    """Done: the alarms afterwards, the answer, and what changed for which alarm."""

    alarms: Alarms
    answer: str
    changes: tuple[Event, ...] = ()


def carry_out(
    limits: AlarmLimits,
    alarms: Alarms,
    done_ids: tuple[str, ...],
    command: Command,
    now_ns: int,
    telling: Telling,
) -> tuple[Alarms, tuple[str, ...], tuple[Event, ...]]:
    """One command carried out or refused; the same id twice is done once.

    Args:
        limits: how long quiet and out of service may be.
        alarms: so far.
        done_ids: ids already answered, oldest first.
        command: what was asked. `out_of_service` takes the reason from its text and
            how long from its minutes, 0 for as long as is allowed.
        now_ns: process time, ns.
        telling: the rig and its clock, for what is told.

    Returns:
        Alarms, ids, and the answer followed by what changed.

    Source:
        This project's design.
    """
    if command.id in done_ids:
        return alarms, done_ids, (_answer(command, "already done", accepted=True),)
    ids = (*done_ids, command.id)[-IDS_KEPT:]
    act = _VERBS.get(command.verb)
    if act is None:
        why = f"{command.verb}: not possible; {WIRED}"
        return alarms, ids, (_answer(command, why, accepted=False),)
    done = act(_Asking(limits, alarms, command, now_ns, telling))
    if isinstance(done, _Refused):
        return alarms, ids, (_answer(command, done.why, accepted=False),)
    # What was asked for may be due before anything else is.
    after_all = alarms if done.alarms is alarms else replace(done.alarms, next_ns=0)
    return after_all, ids, (_answer(command, done.answer, accepted=True), *done.changes)


def _note(asking: _Asking) -> _Done | _Refused:
    if not asking.command.text.strip() or len(asking.command.text) > NOTE_CHARACTERS_MAX:
        return _Refused(f"a note needs 1 to {NOTE_CHARACTERS_MAX} characters")
    return _Done(asking.alarms, "noted")


def _seen(asking: _Asking) -> _Done | _Refused:
    return _people(asking, Happening.SEEN)


def _going(asking: _Asking) -> _Done | _Refused:
    return _people(asking, Happening.GOING)


def _quiet(asking: _Asking) -> _Done | _Refused:
    minutes, longest = asking.command.minutes, asking.limits.quiet_min_max
    if not (0 < minutes <= longest and asking.command.text.strip()):
        return _Refused(f"quiet needs a reason and minutes above 0, at most {longest:.0f}")
    return _people(asking, Happening.QUIET)


def _people(asking: _Asking, happening: Happening) -> _Done | _Refused:
    """Somebody says *seen*, *going* or *quiet* of what they mean."""
    alarms, tag = asking.alarms, asking.command.tag
    meant = [item for item in alarms.standing if item.level > Level.PROMPT]
    over = list(alarms.over)
    if tag:
        # What is told with an alarm is answered with it.
        told_with = {item.tag for item in brought_by(alarms.standing, tag)} | {tag}
        meant = [item for item in meant if item.tag in told_with]
        over = [item for item in over if item.tag == tag]
    lives = {item.tag: item.life for item in meant} | dict.fromkeys(
        (item.tag for item in over), Life.OVER_UNSEEN
    )
    able = {name for name, life in lives.items() if can(life, happening)}
    if happening is Happening.QUIET:
        able -= {item.tag for item in meant if item.horn is Horn.STAND_CLEAR}
    if not able or (tag and tag not in able):
        return _Refused(_why_not(asking, happening, meant, lives))
    answered = {item.tag: _answered(asking, item, happening) for item in meant if item.tag in able}
    left = tuple(item for item in alarms.over if item not in over or item.tag not in able)
    gone = [item.tag for item in over if item.tag in able]
    standing = tuple(
        # A prompt may stand where an alarm is over; of that nobody says anything.
        answered[item.tag] if item.level > Level.PROMPT and item.tag in answered else item
        for item in alarms.standing
    )
    changes = [_change(asking, item, happening) for item in answered.values()]
    changes += [_life(asking, tag, happening, alarms.rest_of(tag)) for tag in gone]
    return _Done(
        replace(alarms, standing=standing, over=left),
        f"{happening.value}: {', '.join((*answered, *gone))}",
        tuple(changes),
    )


def _answered(asking: _Asking, item: Standing, happening: Happening) -> Standing:
    command, life = asking.command, after(item.life, happening)
    marked = replace(item, life=life, seen_by=command.who)
    if happening is Happening.QUIET:
        until_ns = after_min(asking.now_ns, command.minutes)
        marked = replace(marked, quiet_until_ns=until_ns, quiet_why=command.text)
    if happening is Happening.GOING:
        marked = replace(marked, going_by=command.who, attended=False)
    waiting = armed(asking.limits, marked, asking.now_ns) if item.told else marked
    again = item.going_by if happening is Happening.GOING else item.seen_by
    if again and not item.attended and waiting.escalate_ns != NEVER:
        # Saying it again, or asking for quiet, wins no time.
        waiting = replace(waiting, escalate_ns=min(waiting.escalate_ns, item.escalate_ns))
    return waiting


def _why_not(
    asking: _Asking, happening: Happening, meant: list[Standing], lives: Mapping[str, Life]
) -> str:
    tag = asking.command.tag
    named = [item for item in meant if item.tag == tag] or meant
    if happening is Happening.QUIET and any(item.horn is Horn.STAND_CLEAR for item in named):
        return "not quiet: stand clear is silenced only by a button at the rig"
    life = lives.get(tag) or next(iter(lives.values()), asking.alarms.rest_of(tag))
    name = tag or "what stands"
    seen_by = next((item.seen_by for item in named if item.seen_by), "somebody")
    reason = {
        Life.SEEN: f"was seen already by {seen_by}",
        Life.QUIET: f"was seen already by {seen_by} and is quiet",
        Life.OVER_UNSEEN: "is over; say seen",
        Life.SUPPRESSED: "says nothing in this phase, by design",
        Life.OUT_OF_SERVICE: "is out of service and says nothing",
    }.get(life, "does not stand now")
    return f"{name if lives else tag or 'any alarm'} {reason}"


def _out_of_service(asking: _Asking) -> _Done | _Refused:
    command, alarms, limits = asking.command, asking.alarms, asking.limits
    tag, longest_min = command.tag, limits.out_of_service_h_max * 60
    why = _why_stays_in(asking, longest_min)
    if why:
        return _Refused(why)
    until_ns = after_min(asking.now_ns, command.minutes or longest_min)
    mark = OutOfService(
        tag, command.who, command.via, command.text, asking.telling.wall_ns, until_ns
    )
    standing = tuple(_put_out(item, tag) for item in alarms.standing)
    row = BY_TAG[tag].row
    words = out_of_service_told(
        asking.telling, row, command.who, command.text, asking.telling.wall_ns
    )
    change = _life(asking, tag, Happening.OUT_OF_SERVICE, Life.OUT_OF_SERVICE, words)
    return _Done(
        replace(alarms, standing=standing, out=(*alarms.out, mark)),
        f"out of service: {tag}; a trip speaks and cuts heat all the same",
        (replace(change, until_ns=asking.wall_ns(until_ns)),),
    )


def _why_stays_in(asking: _Asking, longest_min: float) -> str:
    command, tag = asking.command, asking.command.tag
    if tag not in BY_TAG:
        return f"no such alarm: {tag or 'none named'}; name one"
    if not BY_TAG[tag].row.warn_do:
        return f"{tag} only trips, and a trip always speaks"
    if not (0 <= command.minutes <= longest_min and command.text.strip()):
        return f"out of service needs a reason, and at most {longest_min:.0f} minutes"
    if any(item.tag == tag and item.worst is Level.TRIP for item in asking.alarms.standing):
        return f"{tag} tripped, and a trip always speaks; mend it first"
    if can(asking.alarms.life_of(tag), Happening.OUT_OF_SERVICE):
        return ""
    if asking.alarms.life_of(tag) is Life.OVER_UNSEEN:
        return f"{tag} is over and was not seen; say seen first"
    return f"{tag} is out of service already; put it back in service first"


def _put_out(item: Standing, tag: str) -> Standing:
    if item.tag != tag or item.level is Level.PROMPT:
        return item
    life = after(item.life, Happening.OUT_OF_SERVICE)
    return disarmed(replace(item, life=life, told=False, follows=""))


def _in_service(asking: _Asking) -> _Done | _Refused:
    command, alarms, tag = asking.command, asking.alarms, asking.command.tag
    left = tuple(item for item in alarms.out if item.tag != tag)
    if len(left) == len(alarms.out):
        return _Refused(f"{tag or 'what you mean'} is not out of service")
    standing = tuple(
        back_in_service(item) if item.tag == tag and item.level > Level.PROMPT else item
        for item in alarms.standing
    )
    done = replace(alarms, standing=standing, out=left)
    words = in_service_told(asking.telling, BY_TAG[tag].row, command.who)
    change = _life(asking, tag, Happening.IN_SERVICE, done.life_of(tag), words)
    return _Done(done, f"in service: {tag}", (change,))


def _change(asking: _Asking, item: Standing, happening: Happening) -> Event:
    change = _life(asking, item.tag, happening, item.life)
    if item.life is not Life.QUIET or item.quiet_until_ns == NEVER:
        return change
    return replace(change, until_ns=asking.wall_ns(item.quiet_until_ns))


def _life(
    asking: _Asking, tag: str, happening: Happening, life: Life, words: Told | None = None
) -> AlarmLife:
    command = asking.command
    return AlarmLife(
        tag,
        happening.value,
        life.value,
        command.who,
        command.via,
        command.text,
        text=words.short if words else "",
        page=words.page if words else "",
    )


def _answer(command: Command, answer: str, *, accepted: bool) -> CommandAnswered:
    return CommandAnswered(
        command.id,
        command.verb,
        command.who,
        command.via,
        command.tag,
        accepted,
        answer,
        command.text,
    )


_VERBS: Mapping[str, Callable[[_Asking], _Done | _Refused]] = {
    "note": _note,
    "seen": _seen,
    "going": _going,
    "quiet": _quiet,
    "out_of_service": _out_of_service,
    "in_service": _in_service,
}
