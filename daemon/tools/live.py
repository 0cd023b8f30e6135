"""`curehold status`, and what people say to the running daemon over its socket."""

import json
import os
import pwd
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daemon.control import ControlError, ask
from daemon.notify.messages import StateMessage, Verb
from daemon.tools.show import bar, duration, say, say_json, say_wrapped

ANSWER_S_MAX = 15.0


def show_status(socket: Path, *, as_json: bool) -> int:
    """What every rig is doing now; 0 when no alarm stands, else 1."""
    states = states_of(socket)
    if as_json:
        for state in states:
            say_json(state.model_dump(mode="json"))
    else:
        for state in states:
            for line in status_lines(state):
                lead = line[: len(line) - len(line.lstrip())]
                say_wrapped(line.strip(), indent=lead, hang=lead + "  ")
    return 1 if any(state.alarms for state in states) else 0


def states_of(socket: Path) -> list[StateMessage]:
    """What every rig is doing now.

    Raises:
        ControlError: no daemon answers, or another version does.
    """
    answer = _asked(socket, {"verb": "status"})
    try:
        return [StateMessage.model_validate_json(json.dumps(item)) for item in answer["rigs"]]
    except (KeyError, TypeError, ValueError) as error:
        raise ControlError(
            f"{socket}: the daemon's answer cannot be read; is it of another version? Restart it"
        ) from error


def _asked(socket: Path, request: dict[str, Any]) -> dict[str, Any]:
    try:
        return ask(socket, request, ANSWER_S_MAX)
    except ValueError as error:
        raise ControlError(
            f"{socket}: what answers there is not curehold; check control.socket"
        ) from error


@dataclass(frozen=True, slots=True)
class Saying:
    """What a person says to one rig.

    Attributes:
        verb: as in the *Command* message.
        who: asserted name; empty: whoever is signed in here.
        tag: the alarm; empty: every alarm that stands.
        minutes: for `quiet`, min.
        text: the note, or the reason.
    """

    verb: Verb
    who: str = ""
    tag: str = ""
    minutes: float = 0.0
    text: str = ""


def tell(socket: Path, rig: str, saying: Saying, *, as_json: bool) -> int:
    """Say something about an alarm; 0 when it was carried out, else 1."""
    request: dict[str, Any] = {
        "verb": saying.verb,
        "rig": rig,
        "id": uuid.uuid4().hex,
        "schema_version": 1,
        "who": saying.who or signed_in(),
        "tag": saying.tag,
        "minutes": saying.minutes,
        "text": saying.text,
    }
    answer = _asked(socket, request)
    if as_json:
        say_json(answer)
    else:
        say(str(answer.get("answer", "")))
    return 0 if answer.get("ok") else 1


def signed_in() -> str:
    """Who is signed in on this computer; nothing proves it."""
    given = os.environ.get("SUDO_USER") or os.environ.get("USER")
    if given:
        return given
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:  # a user without a name, as in some containers
        return f"uid {os.getuid()}"


def status_lines(state: StateMessage) -> Iterable[str]:
    """A rig's state in a few lines, none wider than 78 characters where it can be helped."""
    if state.pretend:
        yield "PRETEND RIG: nothing is heated."
    run = f"run {state.run}" if state.run else "no run"
    known = "" if state.history_known else "  (how it came here was not seen)"
    yield f"{state.title}  {state.phase_title.upper()}{known}  {run}"
    if state.watch_only:
        yield "  WATCH-ONLY: this program has no power over the heat of this rig."
    yield f"  {measured(state)}"
    yield f"  heat {state.permit}: {state.permit_why}"
    if state.hold_min is not None and state.run:
        yield f"  {hold_line(state)}"
    for line in state.tonight:
        yield f"  tonight: {line}"
    for alarm in state.alarms:
        seen = f"  seen by {alarm.seen_by}" if alarm.seen_by else ""
        yield f"  {alarm.state.upper()} {alarm.tag}{seen}"
        yield f"    {alarm.text}"
    if not state.alarms:
        yield "  no alarm"
    if not state.store_ok:
        yield "  RECORDS ARE NOT BEING STORED: look at the disk."
    yield f"  not judged, for it is not fitted: {', '.join(state.not_fitted) or 'nothing'}"


def measured(state: StateMessage) -> str:
    """Pads and air in a few words: `pads 140/139 C  air 207/206 kPa`, `pads open circuit`."""
    groups = (("pads", "pad_", "C"), ("air", "bag_", "kPa"))
    parts = []
    for title, prefix, unit in groups:
        names = [name for name in state.values if name.startswith(prefix)]
        words = [_shown(state, name) for name in names]
        if not names:
            continue
        if all(state.values[name].value is None for name in names):
            parts.append(f"{title} {'/'.join(dict.fromkeys(words))}")
        else:
            parts.append(f"{title} {'/'.join(words)} {unit}")
    return "  ".join(parts)


def hold_line(state: StateMessage) -> str:
    """The hold clock as a bar with figures."""
    hold_s, total_s = state.hold_s, (state.hold_min or 0) * 60
    share = hold_s / total_s if total_s else 0.0
    off = state.heat_off_expected_at
    end = f"  heat off {off[11:16]} UTC" if off else ""
    return f"hold {bar(share)} {duration(hold_s)} of {duration(total_s)}{end}"


def _shown(state: StateMessage, name: str) -> str:
    value = state.values[name]
    if value.value is None:
        return value.reason.value.replace("_", " ") or "?"
    return str(round(value.value))
