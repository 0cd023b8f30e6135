"""The link to the MQTT broker: states, deliveries from the outbox, commands.

The frame handler only hands things over (`publish_state`, `offer_unstored`)
and never waits for the broker. How long the broker may take is measured by the
event loop, as aiomqtt does; waits between attempts are the injected clock's.
"""

import asyncio
import ssl
from collections.abc import Sequence
from contextlib import suppress
from typing import Literal

import aiomqtt
import structlog

from daemon.notify.acknowledged import AcknowledgedClient, connected, refused
from daemon.notify.deliver import Deliveries
from daemon.notify.messages import DaemonMessage, StateMessage, utc_text
from daemon.notify.outbox import Outbox
from daemon.notify.receive import CommandDesk, Submit
from daemon.notify.settings import MqttSettings
from daemon.notify.topics import Topics
from daemon.notify.waiting import Backoff, wait
from daemon.outgoing import Outgoing
from drivers.base import Clock
from rules.frame import NS_PER_S

log = structlog.get_logger()

INCOMING_MAX = 64
GOODBYE_S_MAX = 2.0


class MqttLink:
    """One connection to one broker, for all rigs of a site.

    Args:
        settings: where the broker is and how to sign in.
        site: name of the site.
        rigs: names of the rigs that may be given commands.
        outbox: where deliveries wait; this link is the only one that takes
            those for `mqtt`.
        clock: real time, also where a simulated plant runs faster.
        submit: hands a command to a rig and returns when the frame that
            carried it is judged and committed; may raise `TimeoutError`.

    Raises:
        ValueError: `site` or a rig's name cannot be part of a topic.
    """

    def __init__(
        self,
        settings: MqttSettings,
        site: str,
        rigs: Sequence[str],
        outbox: Outbox,
        clock: Clock,
        submit: Submit,
    ) -> None:
        self._settings = settings
        self._topics = Topics(site)
        self._clock = clock
        self._deliveries = Deliveries(outbox, clock, settings.retry_s_max)
        self._desk = CommandDesk(self._topics, rigs, clock, submit)
        self._client: AcknowledgedClient | None = None
        self._latest: dict[str, StateMessage] = {}
        self._unsent: dict[str, StateMessage] = {}
        self._state_news = asyncio.Event()

    @property
    def broker_ok(self) -> bool:
        """Connected, and the last delivery was not refused."""
        return self._client is not None and not self._deliveries.refusing

    def publish_state(self, message: StateMessage) -> None:
        """Show a rig's newest state; an older one not yet sent is dropped."""
        self._latest[message.rig] = message
        self._unsent[message.rig] = message
        self._state_news.set()

    def offer_unstored(self, outgoing: Sequence[Outgoing]) -> None:
        """Send messages the store could not take, marked as unstored.

        They go before what waits in the outbox and are held in memory only;
        beyond `UNSTORED_MAX` the oldest is dropped and logged.
        """
        self._deliveries.offer_unstored(outgoing)

    async def run(self) -> None:
        """Connect, serve, and connect again, for ever; leaves when cancelled.

        Raises:
            ValueError: the password or the certificates cannot be read; says
                what to do.
        """
        settings = self._settings
        password = settings.password()
        tls = settings.tls()
        if password is not None and settings.readable_on_the_way:
            log.warning("mqtt.not_encrypted", host=settings.host, port=settings.port)
        backoff = Backoff(settings.reconnect_s_max)
        said = ""
        while True:
            client = self._new_client(password, tls)
            error = ""
            began_ns = self._clock.now_ns()
            try:
                async with connected(client):
                    said = ""
                    log.info("mqtt.connected", host=settings.host, port=settings.port)
                    await self._serve(client)
            except* aiomqtt.MqttError as errors:
                error = client.why_lost() or _text_of(errors)
            if error != said:  # a broker away for a day is not worth a line per attempt
                said = error
                log.warning("mqtt.offline", host=settings.host, port=settings.port, error=error)
            if self._clock.now_ns() - began_ns > settings.reconnect_s_max * NS_PER_S:
                # Not sooner, or two daemons with one client id would throw each
                # other out as fast as they can.
                backoff.reset()
            await wait(self._clock, backoff.next_s())

    async def finish(self, within_s: float) -> bool:
        """Say that the daemon is stopping and let what waits go out.

        Args:
            within_s: give up after this time, s.

        Returns:
            Whether nothing is left waiting.
        """
        client = self._client
        if client is None:
            return False
        with suppress(aiomqtt.MqttError, TimeoutError):
            async with asyncio.timeout(within_s):
                await self._say(client, "stopping", "stopping, heat is withdrawn")
                await self._deliveries.drained()
                return True
        return False

    def _new_client(self, password: str | None, tls: ssl.SSLContext | None) -> AcknowledgedClient:
        settings = self._settings
        will = self._about("offline", "connection lost without a word")
        return AcknowledgedClient(
            settings.host,
            settings.port,
            username=settings.username,
            password=password,
            identifier=settings.client_id or f"curehold-{self._topics.site}",
            protocol=aiomqtt.ProtocolVersion.V5,
            keepalive=settings.keepalive_s,
            timeout=settings.delivery_timeout_s,
            max_queued_incoming_messages=INCOMING_MAX,
            will=aiomqtt.Will(self._topics.daemon, will, qos=1, retain=True),
            tls_context=tls,
        )

    async def _serve(self, client: AcknowledgedClient) -> None:
        try:
            await self._desk.subscribe(client)
            # Only now: whoever reads "online" may count on being heard.
            await self._say(client, "online", "watching")
            self._client = client
            async with asyncio.TaskGroup() as group:
                group.create_task(self._desk.run(client))
                group.create_task(self._deliveries.run(client))
                group.create_task(self._show(client))
        except asyncio.CancelledError:
            # With a clean goodbye the broker does not send the last will.
            with suppress(aiomqtt.MqttError, TimeoutError):
                async with asyncio.timeout(GOODBYE_S_MAX):
                    await self._say(client, "offline", "stopped on purpose")
            raise
        finally:
            self._client = None

    async def _show(self, client: AcknowledgedClient) -> None:
        """Send the newest state of each rig, one in flight, so that a slow broker skips some."""
        self._unsent = dict(self._latest)
        told: set[str] = set()
        while True:
            while self._unsent:
                rig = next(iter(self._unsent))
                topic = self._topics.state(rig)
                payload = self._unsent.pop(rig).model_dump_json().encode()
                reason = await client.publish_acknowledged(topic, payload, retain=True)
                if refused(reason) and rig not in told:
                    told.add(rig)
                    log.error("mqtt.state_refused", topic=topic, reason=str(reason))
            self._state_news.clear()
            await self._state_news.wait()

    async def _say(
        self, client: AcknowledgedClient, state: Literal["online", "offline", "stopping"], why: str
    ) -> None:
        reason = await client.publish_acknowledged(
            self._topics.daemon, self._about(state, why), retain=True
        )
        if refused(reason):
            log.error("mqtt.presence_refused", topic=self._topics.daemon, reason=str(reason))

    def _about(self, state: Literal["online", "offline", "stopping"], why: str) -> bytes:
        at = utc_text(self._clock.wall_ns())
        message = DaemonMessage(site=self._topics.site, state=state, at=at, why=why)
        return message.model_dump_json().encode()


def _text_of(errors: BaseExceptionGroup[aiomqtt.MqttError]) -> str:
    """The first error in words; groups may hold groups."""
    error: BaseException = errors
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return str(error)
