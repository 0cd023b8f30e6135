"""From bytes to a command the rules may judge, or to a refusal a person can act on."""

from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails, from_json

from daemon.notify.messages import CommandMessage
from rules.alarms import QUIET_MIN_MAX
from rules.frame import Command

COMMAND_BYTES_MAX = 4096
SAID_CHARS_MAX = 60
WIRED = ("start", "reset", "here", "presence", "attend", "present")
WIRED_ONLY = "start, reset and presence come only from the buttons at the rig"
RETAINED = "a command must not be retained, it would come again later; send it without retain"
LATE = "not carried out in time, look at the rig"
BUSY = "too many commands at once; wait for the answers, then send again"

VERBS = "seen, going, quiet, note, out_of_service or in_service"
MISSING = {
    "id": "the command has no id; give each command an id of its own",
    "who": "the command has no who; say who you are",
    "verb": f"the command has no verb; use {VERBS}",
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A command that is not carried out.

    Attributes:
        id: of the command, or empty when it could not be read.
        answer: why not, and what to do instead.
    """

    id: str
    answer: str


def parse_command(payload: bytes, *, via: str, issued_ns: int) -> Command | Refusal:
    """Read a command as it came over a wire.

    Args:
        payload: UTF-8 JSON of a `CommandMessage`.
        via: how it came, for the record.
        issued_ns: wall time of its arrival since 1970, ns.
    """
    if len(payload) > COMMAND_BYTES_MAX:
        return Refusal(
            "",
            f"the command has {len(payload)} bytes, more than {COMMAND_BYTES_MAX}; "
            "shorten the text",
        )
    try:
        body = from_json(payload, allow_inf_nan=False)
    except ValueError as error:
        return Refusal("", f"the command is not JSON ({error}); see mqtt.md for the form")
    return read_command(body, via=via, issued_ns=issued_ns)


def read_command(body: object, *, via: str, issued_ns: int) -> Command | Refusal:
    """Read a command from decoded JSON.

    Args:
        body: what was decoded.
        via: how it came, for the record.
        issued_ns: wall time of its arrival since 1970, ns.
    """
    if not isinstance(body, dict):
        return Refusal("", "the command is not a JSON object; see mqtt.md for the form")
    command_id = _id_of(body)
    if is_wired(body.get("verb")):
        return Refusal(command_id, WIRED_ONLY)
    try:
        message = CommandMessage.model_validate(body)
    except ValidationError as error:
        return Refusal(command_id, "; ".join(_plain(item) for item in error.errors()[:3]))
    lacking = _lacking(message)
    if lacking:
        return Refusal(command_id, lacking)
    return Command(
        id=message.id,
        verb=message.verb,
        who=message.who.strip(),
        via=via,
        issued_ns=issued_ns,
        tag=message.tag,
        minutes=message.minutes,
        text=message.text.strip(),
    )


def is_wired(verb: object) -> bool:
    """The verb asks for something that exists only as a button at the rig."""
    if not isinstance(verb, str):
        return False
    return verb.strip().lower().split("_")[0] in WIRED


def _lacking(message: CommandMessage) -> str:
    """What a verb needs and this message does not have, or empty."""
    if not message.who.strip():
        return MISSING["who"]
    if message.verb == "quiet" and not (
        0 < message.minutes <= QUIET_MIN_MAX and message.text.strip()
    ):
        return f"quiet needs minutes above 0, at most {QUIET_MIN_MAX:.0f}, and the reason as text"
    if message.verb not in ("quiet", "out_of_service") and message.minutes:
        return "minutes belong to quiet and out_of_service only; leave them out"
    if message.verb == "note" and not message.text.strip():
        return "note needs the note as text"
    if message.verb in ("out_of_service", "in_service") and not message.tag:
        return f"{message.verb} needs the alarm as tag; it is never for all at once"
    if message.verb == "out_of_service" and not message.text.strip():
        return "out_of_service needs the reason as text"
    return ""


def _id_of(body: dict[str, Any]) -> str:
    found = body.get("id")
    return found[:64] if isinstance(found, str) else ""


def _plain(error: ErrorDetails) -> str:
    name = ".".join(str(part) for part in error["loc"])[:SAID_CHARS_MAX]
    if error["type"] == "missing":
        return MISSING.get(name, f"{name} is missing")
    if error["type"] == "extra_forbidden":
        return f"unknown field {name!r}; leave it out"
    given = repr(error["input"])[:SAID_CHARS_MAX]
    if name == "verb":
        return f"no such verb: {given}; use {VERBS}"
    return f"{name} = {given} is not right: {error['msg']}"
