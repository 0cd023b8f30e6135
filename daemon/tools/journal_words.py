"""The words of `curehold alarms journal`: what happened, and what people did.

Alarms, buttons, commands with who and how they came, heat and horn, in order of
time; at the end how soon what was done after the first alarm.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from daemon.store.records import EventRecord
from daemon.tools.show import duration, local_time
from rules.events import (
    AlarmChanged,
    AlarmLife,
    CommandAnswered,
    Escalated,
    Event,
    Horn,
    Interrupted,
    LimitsChanged,
    Nuisance,
    PermitChanged,
    PhaseChanged,
    Pressed,
    Prompted,
    RunClosed,
    RunOpened,
)
from rules.frame import NS_PER_S
from rules.message_pages import HORN_WORDS

BY_PERSON = ("socket", "mqtt")


@dataclass(frozen=True, slots=True)
class HornHeard:
    """The horn's output was read back on.

    Attributes:
        rig: name of the rig.
        first_wall_ns: wall time of the first frame in which it sounded, ns since 1970.
        last_wall_ns: of the last.
        pattern: the pattern it sounded in, as far as the frames show.
    """

    rig: str
    first_wall_ns: int
    last_wall_ns: int
    pattern: Horn


def journal_lines(found: Sequence[EventRecord], horns: Sequence[HornHeard]) -> Iterator[str]:
    """A line a happening and, indented, what was seen; a heading a rig and day."""
    told: list[tuple[int, str, list[str]]] = [
        (item.wall_ns, item.rig, lines) for item in found if (lines := event_lines(item.event))
    ]
    for heard in horns:
        name, means = HORN_WORDS[heard.pattern]
        lasted = duration((heard.last_wall_ns - heard.first_wall_ns) / NS_PER_S + 1)
        words = f"HORN {name} ({means}) for {lasted}"
        told.append((heard.first_wall_ns, heard.rig, [words]))
    heading = ""
    for wall_ns, rig, lines in sorted(told, key=lambda one: one[0]):
        at = local_time(wall_ns)
        if heading != (heading := f"{at:%Y-%m-%d} {rig} (UTC{at:%z})"):
            yield heading
        yield f"{at:%H:%M:%S} {lines[0]}"
        yield from (f"    {line}" for line in lines[1:])


def event_lines(event: Event) -> list[str]:
    """One event in a few words and, further down, what was seen; empty: told otherwise."""
    match event:
        case AlarmChanged():
            return _alarm(event)
        case AlarmLife():
            return _life(event)
        case Escalated():
            return [f"ESCALATED {event.tag}, step {event.step}", event.why]
        case Nuisance():
            about = f" {event.tag}" if event.tag else ""
            return [f"{event.kind.upper()}{about} {event.state}", event.why]
        case CommandAnswered():
            return _command(event)
        case Pressed():
            return [f"PRESSED {event.button.replace('_', ' ')}: {event.did}"]
        case PermitChanged():
            return [f"HEAT {event.permit.replace('_', ' ')}: {event.why}"]
    return _run_lines(event)


def _run_lines(event: Event) -> list[str]:
    match event:
        case Prompted():
            return [f"prompt {event.tag}", event.said]
        case PhaseChanged():
            return [f"phase {event.phase.replace('_', ' ')}: {event.why}"]
        case RunOpened():
            return [f"run {event.run} opened: {event.why}"]
        case RunClosed():
            return [f"run {event.run} {event.outcome}, hold {duration(event.hold_s)}"]
        case Interrupted():
            return [f"NO FRAMES for {duration(event.gap_s)}"]
        case LimitsChanged():
            return ["other limits in force"]
    return []


def _alarm(event: AlarmChanged) -> list[str]:
    if event.state == "clear":
        return [f"OVER {event.tag}" + (", not seen by anybody" if "unseen" in event.life else "")]
    follows = f", with {event.follows}" if event.follows else ""
    untold = "" if event.told else ", told to nobody"
    return [f"{event.state.upper()} {event.tag}{follows}{untold}", event.said]


def _life(event: AlarmLife) -> list[str]:
    if event.via in BY_PERSON:
        return []  # the command beside it says so, with the answer
    by = f" by {event.who}" if event.who else ""
    how = f" ({event.via})" if event.via else ""
    return [f"{event.change.replace('_', ' ')} {event.tag}{by}{how}", *filter(None, [event.why])]


def _command(event: CommandAnswered) -> list[str]:
    refused = "" if event.accepted else " REFUSED"
    words = [f"{event.who} by {event.via}: {event.verb.replace('_', ' ')}{refused}"]
    words.append(event.answer)
    return [*words, f'"{event.note}"'] if event.note else words


def in_short(found: Sequence[EventRecord], horns: Sequence[HornHeard]) -> Iterator[str]:
    """How soon what was done after the first alarm, rig by rig; nothing without an alarm."""
    for rig in dict.fromkeys(item.rig for item in found):
        mine = [item for item in found if item.rig == rig]
        first = next((at for at, item in enumerate(mine) if _raises(item.event)), None)
        if first is None:
            continue
        began_ns = mine[first].wall_ns
        heard = [one.first_wall_ns for one in horns if one.rig == rig]
        yield f"In short, {rig}, after the first alarm:"
        yield f"  heat taken away {_how_soon(mine[first:], began_ns, _takes_heat)}"
        sounded = [at_ns for at_ns in heard if at_ns >= began_ns]
        yield f"  horn {_after(min(sounded), began_ns) if sounded else 'not heard'}"
        yield f"  seen {_how_soon(mine[first:], began_ns, _sees)}"
        yield f"  going {_how_soon(mine[first:], began_ns, _goes)}"
        yield f"  pressed at the rig {_how_soon(mine[first:], began_ns, _presses)}"


def _how_soon(
    found: Sequence[EventRecord], began_ns: int, who: Callable[[Event], str | None]
) -> str:
    """After how long, and by whom, the first event came for which `who` gives a name."""
    for item in found:
        name = who(item.event)
        if name is not None:
            return _after(item.wall_ns, began_ns) + (f", {name}" if name else "")
    return "not at all"


def _after(at_ns: int, began_ns: int) -> str:
    return f"after {duration(max(0, at_ns - began_ns) / NS_PER_S)}"


def _raises(event: Event) -> bool:
    return isinstance(event, AlarmChanged) and event.state != "clear"


def _takes_heat(event: Event) -> str | None:
    takes = isinstance(event, PermitChanged) and event.permit in ("withdrawn", "latched")
    return "" if takes else None


def _sees(event: Event) -> str | None:
    if not isinstance(event, CommandAnswered) or event.verb not in ("seen", "going"):
        return None
    return event.who if event.accepted else None


def _goes(event: Event) -> str | None:
    return _sees(event) if isinstance(event, CommandAnswered) and event.verb == "going" else None


def _presses(event: Event) -> str | None:
    return event.button.replace("_", " ") if isinstance(event, Pressed) else None
