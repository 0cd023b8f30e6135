"""Writes `docs/mqtt.md` from the models: `python -m daemon.notify.document > docs/mqtt.md`."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from daemon.notify import examples
from daemon.notify.commands import COMMAND_BYTES_MAX
from daemon.notify.messages import (
    AlarmNow,
    CommandMessage,
    Message,
    OutOfServiceNow,
    OutputsNow,
    OverNow,
    ValueNow,
)
from daemon.notify.topics import NAME_PATTERN, Topics

HEAD = """\
# MQTT messages

Generated from the models by `python -m daemon.notify.document`; do not edit.

MQTT 5. Every payload is one JSON object in UTF-8 with a `schema_version`, which
is also the second level of every topic. Within a version fields may be added,
never changed: ignore what you do not know. Times are RFC 3339 in UTC. Names of
site and rig match `{pattern}`. All examples are invented.

- **Once per id.** Alarms, events and runs are delivered at least once, in
  order. After a broken connection the newest may come twice: drop the second
  copy by `message_id`.
- **A refusal is not a delivery.** A message counts as delivered only when the
  broker has acknowledged it with a reason code below 0x80. Until then it is
  tried again, and those after it wait.
- **State is the truth of the moment.** It is retained, never queued, and names
  every alarm that stands. If a broker lost its files, the states are right as
  soon as the daemon is back. Retained alarms told since the daemon started are
  sent again on each connection, with the ids they had; one told before that is
  right from its next change on.
- **What is to be told to a person** is in `text`, at most 160 basic characters, and
  fuller in `page`. An alarm with `told` false is for the record; an escalation
  is always for a person.
- **Start, reset and presence are not here.** They come only from the buttons
  at the rig. Nothing sent over MQTT allows heat, ends a latch or counts as
  somebody being there. Quiet and out of service change who is told, never what is
  judged: a trip always speaks and always takes heat.
- **Watch the daemon's own topic.** If the daemon or its network dies, the
  broker itself says `offline`. Whoever depends on alarms must notice that too,
  and notice when the broker is gone.
"""

FOOT = """\
## The broker

`deploy/mosquitto/` has a configuration for Mosquitto 2.0, the rights (`acl`) and
`make-users.sh`, which makes the accounts. The broker listens on this computer
only until you open it, with TLS. The daemon writes its own site and cannot give
commands; a board only reads; a phone gives commands to its own rig and no other.
`who` in a command is what the sender asserts: the broker knows the account, the
daemon does not.
"""


@dataclass(frozen=True, slots=True)
class Section:
    """One kind of message as documented.

    Attributes:
        title: what it is called.
        topic: where it goes, with placeholders.
        way: in or out, as people read it.
        retained: the broker keeps the newest.
        example: an invented one.
    """

    title: str
    topic: str
    way: str
    retained: bool
    example: Message


def sections() -> tuple[Section, ...]:
    """All kinds of messages, in the order in which they are documented."""
    topics = Topics("site")
    names = ("state", "escalation", "nuisance", "event", "run")
    at = {name: getattr(topics, name)("rig") for name in names}
    answer, command = topics.answer("rig"), topics.command("rig")
    alarm, life = topics.alarm("rig", "<tag>"), topics.alarm_life("rig", "<tag>")
    out = "from the daemon"
    return (
        Section("State", at["state"], out, retained=True, example=examples.STATE),
        Section("Alarm", alarm, out, retained=True, example=examples.ALARM),
        Section("Alarm life", life, out, retained=True, example=examples.ALARM_LIFE),
        Section("Escalation", at["escalation"], out, retained=False, example=examples.ESCALATION),
        Section("Nuisance", at["nuisance"], out, retained=False, example=examples.NUISANCE),
        Section("Event", at["event"], out, retained=False, example=examples.EVENT),
        Section("Run", at["run"], out, retained=False, example=examples.RUN),
        Section("Command", command, "to the daemon", retained=False, example=examples.COMMAND),
        Section("Answer", answer, out, retained=False, example=examples.ANSWER),
        Section("Daemon", topics.daemon, out, retained=True, example=examples.DAEMON),
    )


def document() -> str:
    """The text of `docs/mqtt.md`."""
    parts = [HEAD.format(pattern=NAME_PATTERN), *_overview()]
    for section in sections():
        parts.extend(_section(section))
    for nested, where in (
        (ValueNow, "Each of `values` in a state"),
        (OutputsNow, "`outputs` in a state"),
        (AlarmNow, "Each of `alarms` in a state"),
        (OverNow, "Each of `over_unseen` in a state"),
        (OutOfServiceNow, "Each of `out_of_service` in a state"),
    ):
        parts.append(f"## {where}\n")
        parts.extend(_fields(nested))
    parts.append(FOOT)
    return "\n".join(parts)


def _overview() -> Iterator[str]:
    yield "| message | topic | way | retained | QoS |"
    yield "|---|---|---|---|---|"
    for section in sections():
        keeps = "yes" if section.retained else "no"
        link = f"[{section.title}](#{section.title.lower().replace(' ', '-')})"
        yield f"| {link} | `{_shown(section.topic)}` | {section.way} | {keeps} | 1 |"
    yield ""


def _section(section: Section) -> Iterator[str]:
    model = type(section.example)
    yield f"## {section.title}\n"
    yield f"{' '.join((model.__doc__ or '').split())}\n"
    if section.title == "Command":
        yield (
            f"At most {COMMAND_BYTES_MAX} bytes; send it with QoS 1 and without retain, a "
            "retained one is refused. One that arrives while the daemon is away is lost, not "
            "carried out later. The answer comes when the frame that carried it is judged and "
            "stored.\n"
        )
    yield from _fields(model)
    yield "```json"
    yield section.example.model_dump_json(indent=2)
    yield "```\n"


def _fields(model: type[BaseModel]) -> Iterator[str]:
    schema = model.model_json_schema()
    yield "| field | type | meaning |"
    yield "|---|---|---|"
    for name, field in model.model_fields.items():
        kind = _kind(schema["properties"][name], schema.get("$defs", {}))
        # What the daemon sends is always whole; only a sender of commands may be brief.
        may = ", may be left out" if model is CommandMessage and not field.is_required() else ""
        yield f"| `{name}` | {kind}{may} | {field.description} |"
    yield ""


def _kind(schema: dict[str, Any], known: dict[str, Any]) -> str:
    """A JSON schema's type in a few words."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        return _kind(known[name], known) if "enum" in known[name] else "object, see below"
    if "anyOf" in schema:
        return " or ".join(_kind(item, known) for item in schema["anyOf"])
    if "const" in schema:
        return f"`{schema['const']}`"
    if "enum" in schema:
        return ", ".join(f"`{item}`" if item else "empty" for item in schema["enum"])
    if schema["type"] == "array":
        return f"list of {_kind(schema['items'], known)}"
    if schema["type"] == "object" and "$ref" in schema.get("additionalProperties", {}):
        return "object of objects by name, see below"
    plain = {"string": "text", "boolean": "true or false"}
    return plain.get(schema["type"], str(schema["type"]))


def _shown(topic: str) -> str:
    return topic.replace("/site/", "/<site>/").replace("/rig/", "/<rig>/")


if __name__ == "__main__":
    sys.stdout.write(document())
