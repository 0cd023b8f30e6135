"""Commands over MQTT: listening, handing them to a rig, answering."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence

import aiomqtt
import structlog
from paho.mqtt.subscribeoptions import SubscribeOptions

from daemon.notify.acknowledged import AcknowledgedClient, refused
from daemon.notify.commands import BUSY, LATE, RETAINED, Refusal, parse_command
from daemon.notify.messages import AnswerMessage
from daemon.notify.topics import Topics
from drivers.base import Clock
from rules.events import CommandAnswered
from rules.frame import Command

log = structlog.get_logger()

COMMANDS_OPEN_MAX = 16

Submit = Callable[[str, Command], Awaitable[CommandAnswered]]


class CommandDesk:
    """Takes commands for the rigs of a site and answers each.

    Args:
        topics: of the site.
        rigs: names of the rigs that may be given commands.
        clock: for the time of arrival.
        submit: hands a command to a rig; see `MqttLink`.
    """

    def __init__(self, topics: Topics, rigs: Sequence[str], clock: Clock, submit: Submit) -> None:
        self._topics = topics
        self._rig_by_topic = {topics.command(rig): rig for rig in rigs}
        self._clock = clock
        self._submit = submit
        self._open = 0

    async def subscribe(self, client: AcknowledgedClient) -> None:
        """Ask the broker for the commands of every rig.

        Raises:
            aiomqtt.MqttError: the connection broke.
        """
        # No retained command from before; a new one that is retained shows it.
        options = SubscribeOptions(
            qos=1, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND
        )
        topics = list(self._rig_by_topic)
        for topic, code in zip(
            topics, await client.subscribe_acknowledged(topics, options), strict=True
        ):
            if refused(code):
                log.error("mqtt.subscribe_refused", topic=topic, reason=str(code))

    async def run(self, client: AcknowledgedClient) -> None:
        """Take commands over this connection until it breaks.

        Raises:
            aiomqtt.MqttError: it broke; in a group when answers were open.
        """
        async with asyncio.TaskGroup() as group:
            async for message in client.messages:
                rig = self._rig_by_topic.get(message.topic.value)
                if rig is None:
                    continue
                command = self._read(message)
                if isinstance(command, Refusal):
                    # Answered before the next is read: who sends rubbish waits for himself.
                    await self._answer(client, rig, command)
                    continue
                self._open += 1
                # A rig that is slow to answer must not hold up another's commands.
                group.create_task(self._obey(client, rig, command))

    def _read(self, message: aiomqtt.Message) -> Command | Refusal:
        if message.retain:
            return Refusal("", RETAINED)
        command = parse_command(bytes(message.payload), via="mqtt", issued_ns=self._clock.wall_ns())
        if self._open >= COMMANDS_OPEN_MAX:
            return Refusal(command.id, BUSY)
        return command

    async def _obey(self, client: AcknowledgedClient, rig: str, command: Command) -> None:
        try:
            answered: CommandAnswered | Refusal = await self._submit(rig, command)
        except TimeoutError:
            answered = Refusal(command.id, LATE)
        finally:
            self._open -= 1
        await self._answer(client, rig, answered)

    async def _answer(
        self, client: AcknowledgedClient, rig: str, answered: CommandAnswered | Refusal
    ) -> None:
        accepted = isinstance(answered, CommandAnswered) and answered.accepted
        if not accepted:
            log.warning("mqtt.command_refused", rig=rig, id=answered.id, answer=answered.answer)
        message = AnswerMessage(id=answered.id, accepted=accepted, answer=answered.answer)
        topic = self._topics.answer(rig)
        reason = await client.publish_acknowledged(
            topic, message.model_dump_json().encode(), retain=False
        )
        if refused(reason):
            log.error("mqtt.answer_refused", topic=topic, id=answered.id, reason=str(reason))
