"""From a frame's events through the real store to a real broker and back."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from daemon.notify.compose import compose
from daemon.store import Store
from rules.events import AlarmChanged, Decision, Outputs, PhaseChanged, RunOpened
from rules.frame import NS_PER_S, Frame
from tests.e2e.broker import Broker, running
from tests.e2e.mqtt_link import SITE, heard, linked

RIG = "bay-2"
ALARMS = f"curehold/1/{SITE}/{RIG}/alarm/+"
EVENTS = f"curehold/1/{SITE}/{RIG}/event"


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[Broker]:
    home = tmp_path / "broker"
    home.mkdir()
    async with running(home) as one:
        yield one


async def opened(path: Path) -> Store:
    store = await Store.open(path)
    store.register_rig(RIG, limits_json="{}", rules_version="0", software_version="0")
    return store


def tell(store: Store, seq: int, *events: object) -> list[str]:
    """One frame with events, as the supervisor hands it over; returns the ids it makes."""
    frame = Frame(
        seq=seq,
        t_ns=seq * NS_PER_S,
        wall_ns=1_800_000_000_000_000_000 + seq * NS_PER_S,
        wall_trusted=True,
        boot_id="made-up",
        values={},
    )
    decision = Decision(Outputs(), events, 1)  # type: ignore[arg-type]  # the events of each test
    outgoing = compose(SITE, RIG, decision, frame)
    store.append(RIG, frame, decision, outgoing=outgoing)
    return [item.message_id for item in outgoing]


def alarm(state: str, order: int) -> AlarmChanged:
    return AlarmChanged("bag.low", state, "inner air 171 kPa", "BAY 2 GO NOW ...", order)


@pytest.mark.proves("broker away: all delivered after, in order, once per id")
async def test_what_was_stored_with_the_broker_away_goes_out_after_a_restart_of_the_daemon(
    broker: Broker, tmp_path: Path
) -> None:
    broker.stop()
    store = await opened(tmp_path / "store.db")
    ids = tell(store, 1, RunOpened(1, "made up"), PhaseChanged("inflation", "idle", "made up"))
    async with linked(broker, store) as link:
        ids += tell(store, 2, alarm("warn", 1))
        ids += tell(store, 3, alarm("trip", 1))
        await store.flush()
        assert not link.broker_ok
    assert await store.outbox_depth("mqtt") == len(ids) == 6
    await store.close()

    broker.start()
    store = await opened(tmp_path / "store.db")
    async with broker.client("board") as board:
        await board.subscribe([(ALARMS, 1), (EVENTS, 1)])
        async with linked(broker, store) as link:
            old = await heard(board, lambda bodies: len(bodies) == len(ids))
            ids += tell(store, 4, alarm("clear", 0))
            new = await heard(board, lambda bodies: len(bodies) == 2)
            assert await link.finish(within_s=5)
    assert await store.outbox_depth("mqtt") == 0
    await store.close()
    assert [body["message_id"] for body in old + new] == ids
    async with broker.client("board") as late:
        await late.subscribe(ALARMS, qos=1)
        (kept,) = await heard(late, lambda bodies: True)
    assert kept["state"] == "clear"


@pytest.mark.proves("alarms go out when the store cannot take them")
async def test_an_alarm_the_store_could_not_take_goes_out_marked(
    broker: Broker, tmp_path: Path
) -> None:
    store = await opened(tmp_path / "store.db")
    async with broker.client("board") as board, linked(broker, store) as link:
        await board.subscribe(ALARMS, qos=1)
        frame = Frame(seq=1, t_ns=1, wall_ns=1, wall_trusted=False, boot_id="made-up", values={})
        decision = Decision(Outputs(), (alarm("trip", 1),), 1)
        link.offer_unstored(compose(SITE, RIG, decision, frame))
        (told,) = await heard(board, lambda bodies: True)
        assert await link.finish(within_s=5)
    await store.close()
    assert told["unstored"] is True
    assert told["state"] == "trip"
