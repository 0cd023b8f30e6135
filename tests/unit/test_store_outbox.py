"""Messages go out in order, one at a time, once per id, each destination for itself."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from daemon.store import Store, outbox
from rules.frame import NS_PER_S
from tests.store_samples import RIG, alarm, decision, frame, message, opened_store

NOW = 1_795_000_000 * NS_PER_S
MINUTE = 60 * NS_PER_S


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    async with opened_store(tmp_path / "store.db") as found:
        yield found


async def _put(store: Store, *numbers: int, dest: str = "mqtt") -> None:
    last = max((await store.resume(RIG)).last_seq or 0, 0)
    outgoing = [message(number, dest) for number in numbers]
    store.append(RIG, frame(last + 1), decision(), outgoing=outgoing)
    await store.flush()


async def _next(store: Store, dest: str = "mqtt", now: int = NOW) -> int | None:
    """Number of the next message."""
    delivery = await store.next_delivery(dest, now)
    return None if delivery is None else int(delivery.outgoing.message_id.rpartition("-")[2])


async def _deliver(store: Store, dest: str = "mqtt") -> int | None:
    delivery = await store.next_delivery(dest, NOW)
    if delivery is None:
        return None
    await store.delivered(dest, delivery.seq)
    return int(delivery.outgoing.message_id.rpartition("-")[2])


async def test_messages_come_as_they_were_put(store: Store) -> None:
    await _put(store, 1)
    delivery = await store.next_delivery("mqtt", NOW)
    assert delivery is not None
    assert (delivery.outgoing, delivery.attempts) == (message(1), 0)


async def test_order_is_kept_and_the_same_one_comes_until_it_is_done(store: Store) -> None:
    await _put(store, 1, 2)
    await _put(store, 3)
    assert await _next(store) == await _next(store) == 1
    assert [await _deliver(store) for _ in range(4)] == [1, 2, 3, None]


async def test_done_stays_done_over_a_restart_and_the_rest_goes_on(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        await _put(store, 1, 2)
        await _deliver(store)
    async with opened_store(tmp_path / "store.db") as store:
        assert await _deliver(store) == 2
        assert await _deliver(store) is None


async def test_one_hung_destination_holds_up_no_other(store: Store) -> None:
    await _put(store, 1, 2, dest="modem")
    await _put(store, 3, 4, dest="mqtt")
    hung = await store.next_delivery("modem", NOW)
    assert hung is not None
    await store.postpone("modem", hung.seq, NOW + MINUTE, "no carrier")
    assert [await _deliver(store) for _ in range(3)] == [3, 4, None]
    assert await _next(store, "modem") is None


async def test_one_that_is_put_off_holds_back_those_behind_it(store: Store) -> None:
    await _put(store, 1, 2)
    delivery = await store.next_delivery("mqtt", NOW)
    assert delivery is not None
    await store.postpone("mqtt", delivery.seq, NOW + MINUTE, "refused: \ud800")
    assert await _next(store, now=NOW + MINUTE - 1) is None
    again = await store.next_delivery("mqtt", NOW + MINUTE)
    assert again is not None
    assert (again.seq, again.attempts) == (delivery.seq, 1)


async def test_a_wall_clock_put_back_does_not_silence_a_destination(store: Store) -> None:
    await _put(store, 1)
    delivery = await store.next_delivery("mqtt", NOW)
    assert delivery is not None
    await store.postpone("mqtt", delivery.seq, NOW + MINUTE, "refused")
    assert await _next(store, now=NOW - outbox.POSTPONED_NS_MAX) == 1


async def test_the_same_id_is_sent_once_per_destination(store: Store) -> None:
    await _put(store, 1, 1)
    await _put(store, 1)
    await _put(store, 1, dest="modem")
    assert [await _deliver(store) for _ in range(2)] == [1, None]
    await _put(store, 1)
    assert await _deliver(store) is None
    assert await _deliver(store, "modem") == 1


async def test_depth_counts_what_is_not_done(store: Store) -> None:
    await _put(store, 1, 2)
    await _put(store, 3, dest="modem")
    await _deliver(store)
    assert (await store.outbox_depth("mqtt"), await store.outbox_depth("modem")) == (1, 1)


async def test_a_waiter_wakes_for_its_own_destination_only(store: Store) -> None:
    await store.wait_outbox("mqtt")  # what an earlier life left may be there: returns at once
    await store.wait_outbox("modem")
    modem = asyncio.create_task(store.wait_outbox("modem"))
    mqtt = asyncio.create_task(store.wait_outbox("mqtt"))
    await _put(store, 1)
    async with asyncio.timeout(5):
        await mqtt
    assert not modem.done()
    modem.cancel()
    with pytest.raises(asyncio.CancelledError):
        await modem


async def test_a_message_is_offered_only_after_the_commit_of_its_frame(store: Store) -> None:
    await store.wait_outbox("mqtt")
    store.append(RIG, frame(1), decision(alarm()), outgoing=[message(1)])
    await store.wait_outbox("mqtt")
    assert store.durable_seq(RIG) == 1
    assert await _next(store) == 1


async def test_finished_ones_are_kept_up_to_a_count(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.store.outbox.DONE_KEPT", 3)
    for number in range(1, 8):
        await _put(store, number)
        await _deliver(store)
    await _put(store, 8)
    rows = await store._ask(
        lambda: store._writer.connection.execute("SELECT message_id FROM outbox").fetchall()
    )
    assert [row[0] for row in rows] == [f"{RIG}-{number}" for number in (5, 6, 7, 8)]


async def test_beyond_the_limit_the_oldest_are_given_up(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db", outbox_rows_max=3) as store:
        await _put(store, *range(1, 4))
        assert await _next(store) == 1
        await _put(store, 4, 5)
        assert await store.outbox_depth("mqtt") == 3
        assert [await _deliver(store) for _ in range(4)] == [3, 4, 5, None]


async def test_a_delivery_is_remembered_while_the_disk_refuses(store: Store) -> None:
    """The message is not sent twice, and those behind it go on."""
    await _put(store, 1, 2, 3)
    connection = store._writer.connection
    await store._ask(lambda: connection.execute("PRAGMA query_only = 1"))
    assert [await _deliver(store), await _deliver(store)] == [1, 2]
    third = await store.next_delivery("mqtt", NOW)
    assert third is not None
    await store.postpone("mqtt", third.seq, NOW + MINUTE, "refused")
    assert await _next(store) is None
    assert await store.outbox_depth("mqtt") == 1
    await store._ask(lambda: connection.execute("PRAGMA query_only = 0"))
    again = await store.next_delivery("mqtt", NOW + MINUTE)
    assert again is not None
    assert again.attempts == 1
    await store.delivered("mqtt", again.seq)
    states = await store._ask(
        lambda: connection.execute("SELECT DISTINCT state FROM delivery").fetchall()
    )
    assert states == [("done",)]
