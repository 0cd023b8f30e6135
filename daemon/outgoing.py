"""A message on its way out: made beside the frame, stored with it, sent after."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message for one destination.

    Attributes:
        dest: destination, for instance `mqtt`.
        topic: where at the destination.
        payload: UTF-8 JSON of a documented message.
        retain: the destination keeps it as the newest of its topic.
        message_id: unique for ever; a receiver drops a second copy by it.
    """

    dest: str
    topic: str
    payload: bytes
    retain: bool
    message_id: str
