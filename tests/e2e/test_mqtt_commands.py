"""Commands over a real Mosquitto: who may, what is answered, what never arrives."""

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from daemon.notify.commands import BUSY, LATE, RETAINED, WIRED_ONLY
from daemon.notify.receive import COMMANDS_OPEN_MAX
from rules.events import CommandAnswered
from rules.frame import Command
from tests.e2e.broker import Broker, running
from tests.e2e.mqtt_link import MemoryOutbox, Rig, heard, linked, until

COMMAND = "curehold/1/workshop/bay-2/command"
OTHER_COMMAND = "curehold/1/workshop/bay-1/command"
ANSWER = "curehold/1/workshop/bay-2/answer"


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    async with running(tmp_path) as one:
        yield one


def body(**fields: object) -> bytes:
    return json.dumps({"id": "p-1", "verb": "seen", "who": "Ada", **fields}).encode()


async def asked(phone: aiomqtt.Client, payload: bytes, *, retain: bool = False) -> dict[str, Any]:
    await phone.publish(COMMAND, payload, qos=1, retain=retain)
    return (await heard(phone, lambda bodies: True))[0]


async def test_a_phone_is_heard_and_answered(broker: Broker) -> None:
    rig = Rig()
    async with broker.client("bay-2-phone") as phone:
        await phone.subscribe(ANSWER, qos=1)
        async with linked(broker, MemoryOutbox(), rig.submit) as link:
            await until(lambda: link.broker_ok)
            answer = await asked(phone, body(verb="going", tag="bag.burst"))
    assert answer == {
        "schema_version": 1,
        "id": "p-1",
        "accepted": True,
        "answer": "going written down",
    }
    ((name, command),) = rig.taken
    assert name == "bay-2"
    assert (command.verb, command.who, command.via, command.tag) == (
        "going",
        "Ada",
        "mqtt",
        "bag.burst",
    )


@pytest.mark.proves("bad command: a clear error, nothing acted on")
async def test_what_is_not_a_command_is_refused_and_not_acted_on(broker: Broker) -> None:
    rig = Rig()
    async with broker.client("bay-2-phone") as phone:
        await phone.subscribe(ANSWER, qos=1)
        async with linked(broker, MemoryOutbox(), rig.submit) as link:
            await until(lambda: link.broker_ok)
            for verb in ("start", "reset", "presence", "here_button"):
                answer = await asked(phone, body(verb=verb))
                assert (answer["accepted"], answer["answer"]) == (False, WIRED_ONLY)
            answer = await asked(phone, b"\xff\x00 not json")
            assert answer["id"] == ""
            assert "not JSON" in answer["answer"]
            answer = await asked(phone, body(text="x" * 5000))
            assert "more than 4096" in answer["answer"]
            answer = await asked(phone, body(), retain=True)
            assert answer["answer"] == RETAINED
            assert rig.taken == []
            assert (await asked(phone, body()))["accepted"]
    assert len(rig.taken) == 1


async def test_a_phone_takes_an_alarm_out_of_service_only_with_a_reason(broker: Broker) -> None:
    rig = Rig()
    out = {"verb": "out_of_service", "tag": "bag.low"}
    async with broker.client("bay-2-phone") as phone:
        await phone.subscribe(ANSWER, qos=1)
        async with linked(broker, MemoryOutbox(), rig.submit) as link:
            await until(lambda: link.broker_ok)
            refused = await asked(phone, body(**out))
            taken = await asked(phone, body(**out, text="valve on order"))
    assert (refused["accepted"], taken["accepted"]) == (False, True)
    assert "needs the reason" in refused["answer"]
    ((_, command),) = rig.taken
    assert (command.verb, command.tag, command.text) == (*out.values(), "valve on order")


async def test_a_retained_command_of_long_ago_is_not_heard_at_all(broker: Broker) -> None:
    rig = Rig()
    async with broker.client("bay-2-phone") as phone:
        await phone.publish(COMMAND, body(id="old"), qos=1, retain=True)
        await phone.subscribe(ANSWER, qos=1)
        async with linked(broker, MemoryOutbox(), rig.submit) as link:
            await until(lambda: link.broker_ok)
            answer = await asked(phone, body(id="new"))
    assert answer["id"] == "new"
    assert [command.id for _, command in rig.taken] == ["new"]


@pytest.mark.proves("a command without rights never arrives")
async def test_only_who_has_the_right_is_heard(broker: Broker) -> None:
    rig = Rig()
    async with (
        broker.client("board") as board,
        broker.client("bay-2-phone") as phone,
        linked(broker, MemoryOutbox(), rig.submit) as link,
    ):
        await until(lambda: link.broker_ok)
        await phone.subscribe(ANSWER, qos=1)
        await board.publish(COMMAND, body(id="from-the-board"), qos=1)
        await phone.publish(OTHER_COMMAND, body(id="for-another-bay"), qos=1)
        # The broker hands on in order: had those two been let through, they came first.
        await asked(phone, body(id="own-bay"))
    assert [command.id for _, command in rig.taken] == ["own-bay"]


async def test_nobody_gets_in_without_a_password(broker: Broker) -> None:
    nobody = aiomqtt.Client("127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5)
    with pytest.raises(aiomqtt.MqttCodeError, match="Not authorized"):
        await nobody.__aenter__()


async def test_a_slow_rig_is_answered_for_and_holds_up_no_other(broker: Broker) -> None:
    slow = asyncio.Event()
    quick = Rig()

    async def submit(rig: str, command: Command) -> CommandAnswered:
        if command.id.startswith("slow"):
            await slow.wait()
            raise TimeoutError
        return await quick.submit(rig, command)

    async with broker.client("bay-2-phone") as phone:
        await phone.subscribe(ANSWER, qos=1)
        async with linked(broker, MemoryOutbox(), submit) as link:
            await until(lambda: link.broker_ok)
            await phone.publish(COMMAND, body(id="slow-0"), qos=1)
            assert (await asked(phone, body(id="quick")))["accepted"]
            for n in range(1, COMMANDS_OPEN_MAX):
                await phone.publish(COMMAND, body(id=f"slow-{n}"), qos=1)
            busy = await asked(phone, body(id="one-too-many"))
            assert (busy["id"], busy["answer"]) == ("one-too-many", BUSY)
            slow.set()
            late = await heard(phone, lambda bodies: len(bodies) == COMMANDS_OPEN_MAX)
            assert {(item["accepted"], item["answer"]) for item in late} == {(False, LATE)}
            assert (await asked(phone, body(id="after")))["accepted"]
