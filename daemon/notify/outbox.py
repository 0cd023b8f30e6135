"""What a sender needs of the store: the messages of one destination, in order."""

from typing import Protocol

from daemon.outgoing import Outgoing


class Delivery(Protocol):
    """One message waiting for one destination."""

    @property
    def seq(self) -> int:
        """Place in the outbox; rises."""

    @property
    def outgoing(self) -> Outgoing:
        """The message."""

    @property
    def attempts(self) -> int:
        """How often it was tried and put off."""


class Outbox(Protocol):
    """The store's outbox. One caller per destination, one message in flight."""

    async def next_delivery(self, dest: str, now_wall_ns: int) -> Delivery | None:
        """The oldest message not yet delivered, if it is due; the same one until it is done."""

    async def delivered(self, dest: str, seq: int) -> None:
        """The destination has taken the message."""

    async def postpone(self, dest: str, seq: int, next_at_wall_ns: int, error: str) -> None:
        """The destination refused it; it stays the oldest and is due at `next_at_wall_ns`."""

    async def wait_outbox(self, dest: str) -> None:
        """Return when something new may be there."""
