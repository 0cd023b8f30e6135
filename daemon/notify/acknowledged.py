"""aiomqtt's client, made to tell what the broker answered.

`aiomqtt.Client.publish` returns as soon as any PUBACK has come: it drops the
reason code, so a refusal (0x80 and above in MQTT 5, for instance 0x87 Not
authorized) looks like a delivery. paho hands the code to `on_publish`, and
aiomqtt registers its own method for that. We override this one method, keep
the code for whoever waits, and let aiomqtt go on. Everything else is aiomqtt's.

A lost connection is noticed at once too, where aiomqtt would wait out its time.

All callbacks run in the loop's thread once the connection stands, and nothing
waits between handing a message to paho and registering for its answer, so no
answer can come before we listen.
"""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from typing import Any, TypeVar

import aiomqtt
from paho.mqtt.client import Client as PahoClient
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

T = TypeVar("T")

# MQTT 5 (OASIS), 3.4.2.1: codes from here up are refusals. 0x10, no matching
# subscribers, is below: the broker has taken the message.
REFUSED_FROM = 0x80


def refused(reason: ReasonCode) -> bool:
    """Whether a reason code says that the broker has not taken it."""
    return bool(reason.value >= REFUSED_FROM)


def _is_unsaid(code: int | ReasonCode | None) -> bool:
    """What paho gives for a connection that simply ended."""
    return isinstance(code, ReasonCode) and code.value == REFUSED_FROM


class AcknowledgedClient(aiomqtt.Client):
    """An MQTT client that can publish and tell the PUBACK's reason code."""

    def __init__(self, *args: Any, timeout: float, **kwargs: Any) -> None:
        super().__init__(*args, timeout=timeout, **kwargs)
        self._answers: dict[int, asyncio.Future[ReasonCode]] = {}
        # The thread that connects cannot be stopped, so it must end by itself.
        self._client.connect_timeout = timeout

    async def publish_acknowledged(self, topic: str, payload: bytes, *, retain: bool) -> ReasonCode:
        """Publish with QoS 1 and return the broker's answer.

        Args:
            topic: where.
            payload: what.
            retain: the broker keeps it as the newest of its topic.

        Returns:
            The reason code; see `refused`.

        Raises:
            aiomqtt.MqttError: not connected, the connection broke, or no
                answer came in time.
        """
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        if info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise aiomqtt.MqttCodeError(info.rc, "could not publish")
        answer: asyncio.Future[ReasonCode] = self._loop.create_future()
        self._answers[info.mid] = answer
        try:
            return await self._unless_lost(answer)
        finally:
            del self._answers[info.mid]

    async def subscribe_acknowledged(
        self, topics: Sequence[str], options: SubscribeOptions
    ) -> list[ReasonCode]:
        """Subscribe and return the broker's answer to each topic.

        Raises:
            aiomqtt.MqttError: as `publish_acknowledged`.
        """
        wanted = [(topic, options) for topic in topics]
        codes = await self._unless_lost(asyncio.ensure_future(self.subscribe(wanted)))
        return [code for code in codes if isinstance(code, ReasonCode)]

    def why_lost(self) -> str:
        """Why the connection ended, in the broker's words if it said; empty while it stands."""
        if not self._disconnected.done():
            return ""
        error = self._disconnected.exception()
        if isinstance(error, aiomqtt.MqttCodeError) and _is_unsaid(error.rc):
            return "the connection broke without a word; the broker's own log may say why"
        return "" if error is None else str(error)

    async def _unless_lost(self, answer: asyncio.Future[T]) -> T:
        """Wait for an answer; aiomqtt alone would not notice that none can come any more."""
        try:
            await asyncio.wait(
                (answer, self._disconnected),
                timeout=self.timeout,
                return_when=asyncio.FIRST_COMPLETED,
            )
            if answer.done():
                return answer.result()
        finally:
            answer.cancel()
        if self._disconnected.done():
            raise aiomqtt.MqttError(self.why_lost() or "the connection broke")
        raise aiomqtt.MqttError(f"the broker did not answer in {self.timeout:g} s")

    def _on_publish(
        self,
        client: PahoClient,
        userdata: Any,
        mid: int,
        reason_code: ReasonCode,
        properties: Properties,
    ) -> None:
        answer = self._answers.get(mid)
        if answer is not None and not answer.done():
            answer.set_result(reason_code)
        super()._on_publish(client, userdata, mid, reason_code, properties)

    async def leave(self) -> None:
        """Disconnect, and close the socket where aiomqtt leaves it open after an error."""
        if self._connected.done():
            # We are leaving anyway, perhaps cancelled; an error here must not hide that.
            with suppress(aiomqtt.MqttError):
                await self.__aexit__(None, None, None)
        self._client.disconnect()
        self.why_lost()  # seen now; else asyncio reports it as never retrieved


@asynccontextmanager
async def connected(client: AcknowledgedClient) -> AsyncIterator[AcknowledgedClient]:
    """Connect, and leave nothing open whatever happens.

    Raises:
        aiomqtt.MqttError: no connection, or the broker refused it.
    """
    connecting = asyncio.ensure_future(client.__aenter__())
    try:
        await asyncio.shield(connecting)
        yield client
    finally:
        # paho connects in a thread; left alone, it would put its socket and a
        # task into the loop after we have gone. It ends by its own time limit.
        await asyncio.wait((connecting,))
        if not connecting.cancelled():
            connecting.exception()  # raised above, or of no more use if we were cancelled
        await client.leave()
