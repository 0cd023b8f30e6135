"""From a frame's decision to the messages that tell of it; pure."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from daemon.notify.messages import (
    AlarmLifeMessage,
    AlarmMessage,
    EscalationMessage,
    EventMessage,
    Message,
    NuisanceMessage,
    RunMessage,
    utc_text,
)
from daemon.notify.topics import Topics
from daemon.outgoing import Outgoing
from rules.events import (
    AlarmChanged,
    AlarmLife,
    Decision,
    Escalated,
    Event,
    Nuisance,
    RunClosed,
    as_dict,
)
from rules.frame import NS_PER_S, Frame

DEST = "mqtt"


@dataclass(frozen=True, slots=True)
class _Own:
    """The message of its own that a kind of event gets.

    Attributes:
        kind: at the end of its id.
        topic: where it goes.
        model: what it is.
        retained: the broker keeps the newest.
    """

    kind: str
    topic: Callable[[Topics, str, Any], str]
    model: type[Message]
    retained: bool = False


OWN: dict[type[Event], _Own] = {
    AlarmChanged: _Own(
        "alarm", lambda at, rig, event: at.alarm(rig, event.tag), AlarmMessage, retained=True
    ),
    AlarmLife: _Own(
        "life",
        lambda at, rig, event: at.alarm_life(rig, event.tag),
        AlarmLifeMessage,
        retained=True,
    ),
    Escalated: _Own("escalation", lambda at, rig, _: at.escalation(rig), EscalationMessage),
    Nuisance: _Own("nuisance", lambda at, rig, _: at.nuisance(rig), NuisanceMessage),
    RunClosed: _Own("run", lambda at, rig, _: at.run(rig), RunMessage),
}


def compose(site: str, rig: str, decision: Decision, frame: Frame) -> tuple[Outgoing, ...]:
    """The messages of one frame, in the order of its events.

    Each event becomes an `EventMessage`; those in `OWN` also a message of their
    own, an alarm's retained, its end too. The id of each is
    made of site, rig, frame and place, so the same frame always gives the same
    ids and a second copy can be dropped.

    Args:
        site: name of the site.
        rig: name of the rig.
        decision: what the frame led to.
        frame: the frame.

    Returns:
        The messages; empty when nothing happened.

    Raises:
        ValueError: `site` or `rig` cannot be part of a topic.
    """
    if not decision.events:
        return ()
    topics = Topics(site)
    made: list[Outgoing] = []
    for n, event in enumerate(decision.events):
        message_id = message_id_of(site, rig, frame.seq, n, frame.wall_ns)
        # What tells a person to act goes before what only tells a record.
        made.extend(_told_apart(topics, rig, decision.run, frame, event, message_id))
        body = EventMessage(
            message_id=message_id,
            site=site,
            rig=rig,
            run=decision.run or None,
            seq=frame.seq,
            n=n,
            at=utc_text(frame.wall_ns),
            event=as_dict(event),
        )
        made.append(_outgoing(topics.event(rig), body, message_id))
    return tuple(made)


def message_id_of(site: str, rig: str, seq: int, n: int, wall_ns: int) -> str:
    """The id of an event's message: site, rig, frame, place, and the time.

    The time tells the messages of a new store, which counts from 1 again, from
    those of the old one.

    Args:
        site: name of the site.
        rig: name of the rig.
        seq: of the frame.
        n: place of the event in it.
        wall_ns: wall time of the frame since 1970, ns.
    """
    return f"{site}.{rig}.{seq}.{n}.{wall_ns // NS_PER_S:x}"


def mark_unstored(outgoing: Outgoing) -> Outgoing:
    """The same message, saying that the record may lack it."""
    body = json.loads(outgoing.payload)
    body["unstored"] = True
    return Outgoing(
        outgoing.dest,
        outgoing.topic,
        json.dumps(body, ensure_ascii=False, separators=(",", ":")).encode(),
        outgoing.retain,
        outgoing.message_id,
    )


def _told_apart(
    topics: Topics, rig: str, run: int, frame: Frame, event: Event, message_id: str
) -> list[Outgoing]:
    """The message of its own that some events get besides the record's."""
    own = OWN.get(type(event))
    if own is None:
        return []
    own_id = f"{message_id}.{own.kind}"
    at = utc_text(frame.wall_ns)
    body: dict[str, Any] = {
        "message_id": own_id,
        "site": topics.site,
        "rig": rig,
        "run": run or None,
        "at": at,
        **as_dict(event),
    }
    del body["event"]
    if isinstance(event, AlarmLife):
        del body["until_ns"]
        body["until"] = utc_text(event.until_ns) if event.until_ns else None
    if isinstance(event, RunClosed):
        del body["at"]
        body["closed_at"] = at
    told = own.model.model_validate(body, strict=False)
    return [_outgoing(own.topic(topics, rig, event), told, own_id, retain=own.retained)]


def _outgoing(topic: str, body: Message, message_id: str, *, retain: bool = False) -> Outgoing:
    return Outgoing(DEST, topic, body.model_dump_json().encode(), retain, message_id)
