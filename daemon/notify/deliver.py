"""Deliveries: the outbox's messages to the broker, in order, each until it is taken."""

import asyncio
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import structlog

from daemon.notify.acknowledged import AcknowledgedClient, refused
from daemon.notify.compose import DEST, mark_unstored
from daemon.notify.outbox import Delivery, Outbox
from daemon.notify.waiting import Backoff, first_of, wait
from daemon.outgoing import Outgoing
from drivers.base import Clock

log = structlog.get_logger()

UNSTORED_MAX = 256
# More than every hazard of the most rigs one daemon has, twice.
RETAINED_MAX = 2048
# A message put off by an earlier life of the daemon becomes due with no one to say so.
OUTBOX_LOOK_S = 5.0


@dataclass(frozen=True, slots=True)
class _Item:
    """What is to be sent next; `delivery` is None for what the store could not take, or again."""

    outgoing: Outgoing
    delivery: Delivery | None


class Deliveries:
    """What has to reach the broker, one in flight.

    A refused message stays the oldest and is tried again: giving it up would
    lose a record, passing it over would break the order.

    Args:
        outbox: where they wait.
        clock: real time.
        retry_s_max: longest wait between two attempts at a refused one, s.

    Attributes:
        refusing: the broker refused the last one.
    """

    def __init__(self, outbox: Outbox, clock: Clock, retry_s_max: float) -> None:
        self.refusing = False
        self._outbox = outbox
        self._clock = clock
        self._backoff = Backoff(retry_s_max)
        self._unstored: deque[Outgoing] = deque(maxlen=UNSTORED_MAX)
        self._news = asyncio.Event()
        self._nothing_waits = asyncio.Event()
        # By topic: what was delivered, and what of it a broker that may have lost its
        # files is still to be told again, once nothing new waits.
        self._retained: dict[str, Outgoing] = {}
        self._again: dict[str, Outgoing] = {}

    def offer_unstored(self, outgoing: Sequence[Outgoing]) -> None:
        """Put messages the store could not take before all others; see `MqttLink`."""
        for message in outgoing:
            if len(self._unstored) == UNSTORED_MAX:
                log.error("mqtt.unstored_dropped", message_id=self._unstored[0].message_id)
            self._unstored.append(mark_unstored(message))
        self._news.set()

    async def drained(self) -> None:
        """Return when nothing waits; needs `run` to run."""
        self._nothing_waits.clear()
        self._news.set()
        await self._nothing_waits.wait()

    async def run(self, client: AcknowledgedClient) -> None:
        """Deliver over this connection until it breaks.

        Raises:
            aiomqtt.MqttError: it broke; the message in flight stays the oldest.
        """
        self._backoff.reset()
        self._again = dict(self._retained)
        while True:
            item = await self._next()
            outgoing = item.outgoing
            reason = await client.publish_acknowledged(
                outgoing.topic, outgoing.payload, retain=outgoing.retain
            )
            self.refusing = refused(reason)
            if not self.refusing:
                self._backoff.reset()
                await self._done(item)
                continue
            retry_s = self._backoff.next_s()
            log.error(
                "mqtt.refused",
                topic=outgoing.topic,
                message_id=outgoing.message_id,
                reason_code=reason.value,
                reason=str(reason),
                retry_s=retry_s,
            )
            if item.delivery is not None:
                # Due at once for the store: the wait is ours, by a clock that no one sets back.
                await self._outbox.postpone(DEST, item.delivery.seq, 0, str(reason))
            await wait(self._clock, retry_s)

    async def _next(self) -> _Item:
        while True:
            self._news.clear()
            if self._unstored:
                return _Item(self._unstored[0], None)
            delivery = await self._outbox.next_delivery(DEST, self._clock.wall_ns())
            if delivery is not None:
                return _Item(delivery.outgoing, delivery)
            if self._again:
                return _Item(next(iter(self._again.values())), None)
            if not self._news.is_set():
                self._nothing_waits.set()
                await first_of(
                    self._outbox.wait_outbox(DEST),
                    self._news.wait(),
                    wait(self._clock, OUTBOX_LOOK_S),
                )

    async def _done(self, item: _Item) -> None:
        if item.outgoing.retain:
            self._again.pop(item.outgoing.topic, None)
            self._retained[item.outgoing.topic] = item.outgoing
            if len(self._retained) > RETAINED_MAX:
                del self._retained[next(iter(self._retained))]
        if item.delivery is not None:
            await self._outbox.delivered(DEST, item.delivery.seq)
        elif self._unstored and self._unstored[0] is item.outgoing:
            self._unstored.popleft()
