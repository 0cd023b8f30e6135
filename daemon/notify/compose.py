"""From a frame's decision to the messages that tell of it; pure."""

import json

from daemon.notify.messages import AlarmMessage, EventMessage, Message, RunMessage, utc_text
from daemon.notify.topics import Topics
from daemon.outgoing import Outgoing
from rules.events import AlarmChanged, Decision, Event, RunClosed, as_dict
from rules.frame import NS_PER_S, Frame

DEST = "mqtt"


def compose(site: str, rig: str, decision: Decision, frame: Frame) -> tuple[Outgoing, ...]:
    """The messages of one frame, in the order of its events.

    Each event becomes an `EventMessage`; an alarm also an `AlarmMessage`,
    retained, its end too; a closed run also a `RunMessage`. The id of each is
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
    """The message of its own that an alarm or a closed run gets besides its event."""
    at = utc_text(frame.wall_ns)
    if isinstance(event, AlarmChanged):
        own_id = f"{message_id}.alarm"
        alarm = AlarmMessage(
            message_id=own_id,
            site=topics.site,
            rig=rig,
            run=run or None,
            tag=event.tag,
            state=event.state,
            at=at,
            said=event.said,
            text=event.text,
            order=event.order,
            follows=event.follows,
        )
        return [_outgoing(topics.alarm(rig, event.tag), alarm, own_id, retain=True)]
    if isinstance(event, RunClosed):
        own_id = f"{message_id}.run"
        closed = RunMessage(
            message_id=own_id,
            site=topics.site,
            rig=rig,
            run=event.run,
            closed_at=at,
            outcome=event.outcome,
            hold_s=event.hold_s,
            peak_c=event.peak_c,
        )
        return [_outgoing(topics.run(rig), closed, own_id)]
    return []


def _outgoing(topic: str, body: Message, message_id: str, *, retain: bool = False) -> Outgoing:
    return Outgoing(DEST, topic, body.model_dump_json().encode(), retain, message_id)
