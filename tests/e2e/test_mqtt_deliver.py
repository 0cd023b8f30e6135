"""Deliveries over a real Mosquitto: in order, each until the broker has taken it."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path

import aiomqtt
import pytest
from structlog.testing import capture_logs

from daemon.clock import RealClock
from daemon.notify.compose import compose
from daemon.notify.mqtt import MqttLink
from daemon.notify.settings import MqttSettings
from daemon.outgoing import Outgoing
from rules.events import AlarmChanged, AlarmLife, Decision, Escalated, Event, Outputs
from rules.frame import Frame
from tests.e2e.broker import Broker, running
from tests.e2e.mqtt_link import GUARD_S, RIGS, SITE, MemoryOutbox, Rig, heard, linked, state, until

EVENTS = "curehold/1/workshop/bay-2/event"
EVENT_RIGHT = "curehold/1/workshop/+/event"
STATE_RIGHT = "curehold/1/workshop/+/state"
STATE = "curehold/1/workshop/bay-2/state"


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    async with running(tmp_path) as one:
        yield one


@pytest.mark.proves("broker away: all delivered after, in order, once per id")
async def test_a_killed_broker_loses_repeats_and_disorders_nothing(broker: Broker) -> None:
    outbox = MemoryOutbox()
    ids = [f"workshop.bay-2.{n}.0" for n in range(300)]
    async with broker.client("board") as board:
        await board.subscribe(EVENTS, qos=1)
        async with linked(broker, outbox):
            for message_id in ids[:200]:
                outbox.put(message_id)
            before = await heard(board, lambda bodies: len(bodies) >= 80)
            broker.kill()  # with a message in flight
            outbox.hold()
            with pytest.raises(aiomqtt.MqttError):  # what reached the board before the end
                await heard(board, lambda bodies: before.extend(bodies[-1:]) is not None)
            for message_id in ids[200:]:
                outbox.put(message_id)
            broker.start()
            async with broker.client("board") as board_again:
                await board_again.subscribe(EVENTS, qos=1)
                outbox.go_on()
                after = await heard(board_again, lambda bodies: bodies[-1]["message_id"] == ids[-1])
            await until(lambda: not outbox.waiting)
    told = [body["message_id"] for body in before + after]
    assert list(dict.fromkeys(told)) == ids
    assert 80 <= len(before) < 200, "the broker was not killed in the middle"
    assert len(told) - len(ids) <= 1, "only the message in flight may come twice"
    assert outbox.done == ids


@pytest.mark.proves("a refused delivery is not done")
async def test_a_refused_message_waits_and_goes_out_when_it_may(broker: Broker) -> None:
    outbox = MemoryOutbox()
    broker.deny(EVENT_RIGHT)
    async with broker.client("board") as board, linked(broker, outbox) as link:
        await board.subscribe(EVENTS, qos=1)
        outbox.put("first")
        outbox.put("second")
        await until(lambda: len(outbox.errors) >= 3)
        assert set(outbox.errors) == {"Not authorized"}  # 0x87, MQTT 5 (OASIS) table 3-4
        assert outbox.done == []
        assert not link.broker_ok
        broker.allow(EVENT_RIGHT)
        bodies = await heard(board, lambda bodies: len(bodies) == 2)
        await until(lambda: not outbox.waiting)
        assert link.broker_ok
    assert [body["message_id"] for body in bodies] == ["first", "second"]
    assert outbox.done == ["first", "second"]


async def test_the_plain_client_does_not_tell_a_refusal(broker: Broker) -> None:
    """Why `AcknowledgedClient` exists; when this fails, aiomqtt has learnt it."""
    broker.deny(EVENT_RIGHT)
    async with broker.client("curehold") as client:
        await client.publish(EVENTS, b"{}", qos=1)


async def test_nobody_listening_is_no_refusal(broker: Broker) -> None:
    outbox = MemoryOutbox()
    async with linked(broker, outbox):
        outbox.put("into the empty yard")  # PUBACK 0x10, MQTT 5 (OASIS) table 3-4
        await until(lambda: outbox.done == ["into the empty yard"])
    assert outbox.errors == []


async def test_a_frozen_broker_is_left_and_found_again(broker: Broker) -> None:
    outbox = MemoryOutbox()
    async with broker.client("board") as board:
        await board.subscribe(EVENTS, qos=1)
        async with linked(broker, outbox, delivery_timeout_s=0.5) as link:
            await until(lambda: link.broker_ok)
            broker.freeze()
            outbox.put("patient")
            await until(lambda: not link.broker_ok)
            assert outbox.done == []
            broker.thaw()
            bodies = await heard(board, lambda bodies: True)
            await until(lambda: outbox.done == ["patient"])
    assert bodies[0]["message_id"] == "patient"


async def test_the_newest_state_is_kept_for_who_comes_later(broker: Broker) -> None:
    async with linked(broker, MemoryOutbox()) as link:
        for seq in range(1, 51):
            link.publish_state(state(seq=seq))
        link.publish_state(state("bay-1", seq=7))
        async with broker.client("board") as board:
            await board.subscribe("curehold/1/+/+/state", qos=1)
            newest: dict[str, int] = {}
            async with asyncio.timeout(GUARD_S):
                async for message in board.messages:
                    body = json.loads(bytes(message.payload))
                    newest[body["rig"]] = body["seq"]
                    if newest == {"bay-1": 7, "bay-2": 50}:
                        break
    async with broker.client("board") as late:
        await late.subscribe(STATE, qos=1)
        bodies = await heard(late, lambda bodies: True)
    assert bodies[0]["seq"] == 50


BURST = AlarmChanged("bag.burst", "trip", "inner air -42 kPa", "BAY 2 GO NOW ...", 1)
OVER = AlarmChanged("bag.burst", "clear", "", "BAY 2: over ...", 0)
LOW = AlarmChanged("bag.low", "warn", "inner air 178 kPa", "BAY 2 GO NOW ...", 2)


def told(seq: int, *events: Event) -> tuple[Outgoing, ...]:
    frame = Frame(seq, 0, 1_795_597_922 * 10**9, True, "made-up", {})
    return compose(SITE, "bay-2", Decision(Outputs(), events, 14), frame)


async def alarms_kept(broker: Broker, count: int) -> dict[str, str]:
    """The state of each alarm that the broker keeps, once there are so many."""
    async with broker.client("board") as late:
        await late.subscribe("curehold/1/+/+/alarm/+", qos=1)
        bodies = await heard(late, lambda bodies: len(bodies) == count)
    return {body["tag"]: body["state"] for body in bodies}


async def test_a_broker_that_lost_its_files_keeps_every_alarm_again(broker: Broker) -> None:
    outbox = MemoryOutbox()
    async with linked(broker, outbox) as link:
        outbox.put_all(told(1, BURST, LOW))
        await until(lambda: len(outbox.done) == 4)
        assert await alarms_kept(broker, 2) == {"bag.burst": "trip", "bag.low": "warn"}
        broker.kill()
        for kept in broker.home.glob("mosquitto.db*"):
            kept.unlink()
        await until(lambda: not link.broker_ok)
        outbox.put_all(told(2, OVER))  # news of the same alarm, which must stay the newest
        broker.start()
        async with broker.client("board") as board:
            await board.subscribe("curehold/1/+/+/alarm/+", qos=1)
            bodies = await heard(board, lambda bodies: len(bodies) == 2)
        assert {body["tag"]: body["state"] for body in bodies} == {
            "bag.burst": "clear",
            "bag.low": "warn",
        }
        await until(lambda: len(outbox.done) == 6)
        assert await alarms_kept(broker, 2) == {"bag.burst": "clear", "bag.low": "warn"}


async def test_a_phone_hears_that_nobody_came_and_who_took_an_alarm_out(broker: Broker) -> None:
    nobody = Escalated("bag.low", 1, "nobody has seen it in 5 min", "BAY 2 GO NOW ...", "page")
    out = AlarmLife("bag.low", "out_of_service", "out_of_service", "Ada", "mqtt", "valve on order")
    outbox = MemoryOutbox()
    async with broker.client("bay-2-phone") as phone, linked(broker, outbox):
        await phone.subscribe("curehold/1/workshop/bay-2/escalation", qos=1)
        await phone.subscribe("curehold/1/workshop/bay-2/alarm_life/+", qos=1)
        outbox.put_all(told(1, nobody, out))
        escalation, life = await heard(phone, lambda bodies: len(bodies) == 2)
    assert (escalation["step"], escalation["text"]) == (1, "BAY 2 GO NOW ...")
    assert (life["life"], life["who"], life["why"]) == ("out_of_service", "Ada", "valve on order")
    async with broker.client("board") as late:
        await late.subscribe("curehold/1/+/+/alarm_life/+", qos=1)
        (kept,) = await heard(late, lambda bodies: True)
    assert kept == life


async def test_states_do_not_queue_while_the_broker_is_away(broker: Broker) -> None:
    async with linked(broker, MemoryOutbox()) as link:
        await until(lambda: link.broker_ok)
        broker.kill()
        await until(lambda: not link.broker_ok)
        for seq in range(1, 101):
            link.publish_state(state(seq=seq))
        broker.start()
        async with broker.client("board") as board:
            await board.subscribe(STATE, qos=1)
            bodies = await heard(board, lambda bodies: True)
    assert [body["seq"] for body in bodies] == [100]


async def test_a_broker_that_dies_before_it_answers_is_noticed_at_once() -> None:
    """Where aiomqtt alone would wait out its time.

    Mosquitto cannot be made to die between two answers, so this one is ours: it
    takes the connection and hangs up on the first subscription.
    """

    async def die_young(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(4096)
        writer.write(bytes([0x20, 3, 0, 0, 0]))  # CONNACK, success: MQTT 5 (OASIS) 3.2
        await reader.read(4096)
        writer.close()
        await writer.wait_closed()

    async with await asyncio.start_server(die_young, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        settings = MqttSettings(port=port, reconnect_s_max=0.1, delivery_timeout_s=60.0)
        link = MqttLink(settings, SITE, RIGS, MemoryOutbox(), RealClock(), Rig().submit)
        with capture_logs() as logs:
            task = asyncio.create_task(link.run())
            await until(lambda: sum(entry["event"] == "mqtt.offline" for entry in logs) >= 2)
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task
    errors = [entry["error"] for entry in logs if entry["event"] == "mqtt.offline"]
    assert all("without a word" in error for error in errors)


async def test_a_refused_state_holds_up_nothing(broker: Broker) -> None:
    outbox = MemoryOutbox()
    broker.deny(STATE_RIGHT)
    async with broker.client("board") as board, linked(broker, outbox) as link:
        await board.subscribe("curehold/1/+/+/+", qos=1)
        link.publish_state(state(seq=1))
        outbox.put("still told")
        bodies = await heard(board, lambda bodies: "message_id" in bodies[-1])
        await until(lambda: not outbox.waiting)
    assert bodies[-1]["message_id"] == "still told"
    assert all("seq" not in body for body in bodies)


async def test_a_wrong_password_is_said_once_and_leaves_nothing_open(
    broker: Broker, tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong"
    wrong.write_text("not it\n")
    wrong.chmod(0o600)
    with capture_logs() as logs:
        async with linked(broker, MemoryOutbox(), password_file=wrong) as link:
            await until(lambda: (tmp_path / "broker.log").read_text().count("not authorised") >= 3)
            assert not link.broker_ok
    assert [entry["event"] for entry in logs] == ["mqtt.offline"]
    assert "Not authorized" in logs[0]["error"]
