"""What others see of the daemon itself, over a real Mosquitto."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path

import aiomqtt
import pytest
from structlog.testing import capture_logs

from tests.e2e.broker import Broker, Wire, running
from tests.e2e.mqtt_link import GUARD_S, MemoryOutbox, heard, linked, until
from tests.virtual_clock import settle

PRESENCE = "curehold/1/workshop/daemon"
EVENTS = "curehold/1/workshop/bay-2/event"


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    async with running(tmp_path) as one:
        yield one


async def retained(broker: Broker) -> dict[str, str]:
    """What someone who comes now is told."""
    async with broker.client("board") as late:
        await late.subscribe(PRESENCE, qos=1)
        async with asyncio.timeout(GUARD_S):
            message = await anext(aiter(late.messages))
    assert message.retain
    return dict(json.loads(bytes(message.payload)))


@pytest.mark.proves("silence is told by the broker")
async def test_a_cut_connection_is_told_by_the_last_will(broker: Broker) -> None:
    wire = Wire(broker.port)
    await wire.lay()
    async with broker.client("board") as board:
        await board.subscribe(PRESENCE, qos=1)
        async with linked(broker, MemoryOutbox(), port=wire.port) as link:
            online = await heard(board, lambda bodies: True)
            await wire.cut()
            offline = await heard(board, lambda bodies: True)
            assert (await retained(broker))["state"] == "offline"
            await wire.lay()
            again = await heard(board, lambda bodies: True)
            await until(lambda: link.broker_ok)
            assert (await retained(broker))["state"] == "online"
        stopped = await heard(board, lambda bodies: True)
        await wire.cut()
    told = [(body["state"], body["why"]) for body in online + offline + again + stopped]
    assert told == [
        ("online", "watching"),
        ("offline", "connection lost without a word"),
        ("online", "watching"),
        ("offline", "stopped on purpose"),
    ]


async def test_finish_says_stopping_and_empties_the_outbox_first(broker: Broker) -> None:
    outbox = MemoryOutbox()
    async with broker.client("board") as board:
        await board.subscribe([(PRESENCE, 1), (EVENTS, 1)])
        async with linked(broker, outbox) as link:
            await heard(board, lambda bodies: True)
            for n in range(5):
                outbox.put(f"last words {n}")
            assert await link.finish(within_s=5)
            assert outbox.waiting == []
        bodies = await heard(board, lambda bodies: bodies[-1].get("state") == "offline")
    told = [body["state"] for body in bodies if "state" in body]
    assert told == ["stopping", "offline"]
    assert len(bodies) == 7


async def test_finish_gives_up_in_time(broker: Broker) -> None:
    outbox = MemoryOutbox()
    broker.deny("curehold/1/workshop/+/event")
    async with linked(broker, outbox) as link:
        await until(lambda: link.broker_ok)
        outbox.put("refused")
        assert not await link.finish(within_s=0.3)
    assert [item.outgoing.message_id for item in outbox.waiting] == ["refused"]


@pytest.mark.parametrize("for_s", [0.1, 1.2])
async def test_a_link_that_finds_no_answer_can_be_stopped(
    broker: Broker, caplog: pytest.LogCaptureFixture, for_s: float
) -> None:
    """Stopped in its first attempt to connect, and after some that came to nothing."""
    before = asyncio.all_tasks()
    broker.freeze()
    try:
        async with linked(broker, MemoryOutbox(), delivery_timeout_s=0.5) as link:
            with pytest.raises(TimeoutError):
                async with asyncio.timeout(for_s):
                    await until(lambda: link.broker_ok)
            assert not await link.finish(within_s=1)
        await settle()
        # The library keeps a task and a socket for each attempt that is not cleared away.
        assert asyncio.all_tasks() == before
    finally:
        broker.thaw()
    assert caplog.messages == []  # asyncio logs what was left behind unseen


async def test_another_daemon_with_the_same_client_id_is_said(broker: Broker) -> None:
    """Mosquitto 2.0.11 writes 0x8E, session taken over, to its log and not to the wire."""
    with capture_logs() as logs:
        async with linked(broker, MemoryOutbox()) as link:
            await until(lambda: link.broker_ok)
            async with aiomqtt.Client(
                "127.0.0.1",
                broker.port,
                username="curehold",
                password=broker.password_of("curehold"),
                identifier="curehold-workshop",
                protocol=aiomqtt.ProtocolVersion.V5,
            ):
                await until(lambda: any(entry["event"] == "mqtt.offline" for entry in logs))
    errors = [entry["error"] for entry in logs if entry["event"] == "mqtt.offline"]
    assert errors[0] == "the connection broke without a word; the broker's own log may say why"
