"""A link with a small outbox in memory, and listeners, for the tests over a real broker."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiomqtt

from daemon.clock import RealClock
from daemon.notify.messages import OutputsNow, StateMessage, ValueNow
from daemon.notify.mqtt import MqttLink
from daemon.notify.outbox import Outbox
from daemon.notify.receive import Submit
from daemon.notify.settings import MqttSettings
from daemon.outgoing import Outgoing
from rules.events import CommandAnswered, Horn
from rules.frame import Command, Quality, Reason
from rules.phases import Phase
from tests.e2e.broker import Broker

SITE = "workshop"
RIGS = ("bay-1", "bay-2")
GUARD_S = 20


@dataclass
class Waiting:
    """One delivery, as the store would give it."""

    seq: int
    outgoing: Outgoing
    attempts: int = 0


class MemoryOutbox:
    """The outbox's protocol, in memory."""

    def __init__(self) -> None:
        self.waiting: list[Waiting] = []
        self.done: list[str] = []
        self.errors: list[str] = []
        self._news = asyncio.Event()
        self._open = asyncio.Event()
        self._open.set()
        self._seq = 0

    def put(self, message_id: str, topic: str = "curehold/1/workshop/bay-2/event") -> None:
        payload = json.dumps({"message_id": message_id}).encode()
        self.put_all([Outgoing("mqtt", topic, payload, False, message_id)])

    def put_all(self, outgoing: Sequence[Outgoing]) -> None:
        for message in outgoing:
            self._seq += 1
            self.waiting.append(Waiting(self._seq, message))
        self._news.set()

    def hold(self) -> None:
        """Hand out nothing more for now."""
        self._open.clear()

    def go_on(self) -> None:
        self._open.set()

    async def next_delivery(self, dest: str, now_wall_ns: int) -> Waiting | None:
        await self._open.wait()
        return self.waiting[0] if self.waiting else None

    async def delivered(self, dest: str, seq: int) -> None:
        first = self.waiting.pop(0)
        assert first.seq == seq, "delivered out of order"
        self.done.append(first.outgoing.message_id)

    async def postpone(self, dest: str, seq: int, next_at_wall_ns: int, error: str) -> None:
        assert self.waiting[0].seq == seq
        self.waiting[0].attempts += 1
        self.errors.append(error)

    async def wait_outbox(self, dest: str) -> None:
        await self._news.wait()
        self._news.clear()


class Rig:
    """Stands where the supervisor stands: takes commands and accepts them."""

    def __init__(self) -> None:
        self.taken: list[tuple[str, Command]] = []

    async def submit(self, rig: str, command: Command) -> CommandAnswered:
        self.taken.append((rig, command))
        said = f"{command.verb} written down"
        return CommandAnswered(
            command.id, command.verb, command.who, command.via, command.tag, True, said
        )


@asynccontextmanager
async def linked(
    broker: Broker,
    outbox: Outbox,
    submit: Submit | None = None,
    *,
    port: int | None = None,
    account: str = "curehold",
    password_file: Path | None = None,
    delivery_timeout_s: float = 5.0,
    tls_ca_file: Path | None = None,
) -> AsyncIterator[MqttLink]:
    """A running link; at the end it is stopped as the daemon stops it."""
    settings = MqttSettings(
        port=port or broker.port,
        username=account,
        password_file=password_file or broker.password_file("curehold"),
        reconnect_s_max=0.1,
        retry_s_max=0.1,
        delivery_timeout_s=delivery_timeout_s,
        tls_ca_file=tls_ca_file,
    )
    link = MqttLink(settings, SITE, RIGS, outbox, RealClock(), submit or Rig().submit)
    task = asyncio.create_task(link.run())
    try:
        yield link
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def heard(
    client: aiomqtt.Client, enough: Callable[[list[dict[str, Any]]], bool]
) -> list[dict[str, Any]]:
    """The bodies of what a client hears, until there is enough."""
    bodies: list[dict[str, Any]] = []
    async with asyncio.timeout(GUARD_S):
        async for message in client.messages:
            bodies.append(json.loads(bytes(message.payload)))
            if enough(bodies):
                return bodies
    return bodies


async def until(condition: Callable[[], bool]) -> None:
    """Wait for something in this process that has no event of its own."""
    clock = RealClock()
    async with asyncio.timeout(GUARD_S):
        while not condition():
            await clock.sleep_until(clock.now_ns() + 5_000_000)


def state(rig: str = "bay-2", seq: int = 1) -> StateMessage:
    """An invented state."""
    return StateMessage(
        site=SITE,
        rig=rig,
        title="BAY 2",
        at="2026-11-25T08:00:00.000Z",
        seq=seq,
        pretend=True,
        watch_only=False,
        run=None,
        phase=Phase.IDLE,
        phase_title="idle",
        phase_since="2026-11-25T08:00:00.000Z",
        history_known=True,
        permit="withheld",
        permit_why="nobody pressed start",
        values={"pad_inner_c": ValueNow(value=21.0, quality=Quality.GOOD, reason=Reason.NONE)},
        not_fitted=("probe_c",),
        outputs=OutputsNow(
            heat_permit=False,
            horn=Horn.SILENT,
            beacon_red=False,
            beacon_amber=False,
            release_permit=False,
        ),
        alarms=(),
        hold_s=0.0,
        hold_min=None,
        heat_off_expected_at=None,
        polls_late=0,
        polls_missed=0,
        store_ok=True,
    )
