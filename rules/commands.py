"""What people may ask from afar, and how each request is answered.

Start, reset and presence are not here: they come from the buttons at the rig.

Source:
    This project's design.
"""

from dataclasses import replace

from rules.alarms import QUIET_MIN_MAX, Alarms, Standing
from rules.events import CommandAnswered, Horn, Level
from rules.frame import NS_PER_S, Command

IDS_KEPT = 64
NOTE_CHARACTERS_MAX = 500


def carry_out(
    alarms: Alarms, done_ids: tuple[str, ...], command: Command, now_ns: int
) -> tuple[Alarms, tuple[str, ...], CommandAnswered]:
    """One command carried out or refused; the same id twice is done once.

    Args:
        alarms: what stands.
        done_ids: ids already answered, oldest first.
        command: what was asked.
        now_ns: process time, ns.

    Returns:
        Alarms, ids and the answer.

    Source:
        This project's design.
    """
    if command.id in done_ids:
        return alarms, done_ids, _answer(command, "already done", accepted=True)
    alarms, answered = _act(alarms, command, now_ns)
    return alarms, (*done_ids, command.id)[-IDS_KEPT:], answered


def _act(alarms: Alarms, command: Command, now_ns: int) -> tuple[Alarms, CommandAnswered]:
    if command.verb == "note":
        if not command.text.strip() or len(command.text) > NOTE_CHARACTERS_MAX:
            why = f"a note needs 1 to {NOTE_CHARACTERS_MAX} characters"
            return alarms, _answer(command, why, accepted=False)
        return alarms, _answer(command, "noted", accepted=True)
    if command.verb not in ("seen", "going", "quiet"):
        why = "start, reset and presence come only from the buttons at the rig"
        return alarms, _answer(command, f"{command.verb}: not possible; {why}", accepted=False)
    if command.verb == "quiet" and not (
        0 < command.minutes <= QUIET_MIN_MAX and command.text.strip()
    ):
        why = f"quiet needs a reason and minutes above 0, at most {QUIET_MIN_MAX:.0f}"
        return alarms, _answer(command, why, accepted=False)
    meant = [item for item in alarms.standing if _means(command, item)]
    if not meant:
        what = command.tag or "any alarm"
        return alarms, _answer(command, f"{what} does not stand now", accepted=False)
    if command.verb == "quiet":
        meant = [item for item in meant if item.horn is not Horn.STAND_CLEAR]
        if not meant:
            why = "stand clear is silenced only by a button at the rig"
            return alarms, _answer(command, f"not quiet: {why}", accepted=False)
    standing = tuple(
        _marked(item, command, now_ns) if item in meant else item for item in alarms.standing
    )
    tags = ", ".join(item.tag for item in meant)
    return replace(alarms, standing=standing), _answer(
        command, f"{command.verb}: {tags}", accepted=True
    )


def _means(command: Command, item: Standing) -> bool:
    return item.level > Level.PROMPT and command.tag in ("", item.tag)


def _marked(item: Standing, command: Command, now_ns: int) -> Standing:
    if command.verb == "seen":
        return replace(item, seen_by=command.who)
    if command.verb == "going":
        return replace(item, seen_by=command.who, going_by=command.who)
    return replace(item, quiet_until_ns=now_ns + int(command.minutes * 60) * NS_PER_S)


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
