"""When frames go to the disk, who is told, and that they go as whole prefixes."""

import asyncio
import threading
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from daemon.store import Store, StoreError, StoreReader
from rules.events import Decision, Outputs
from rules.frame import Command
from tests.store_samples import (
    RIG,
    alarm,
    closed,
    commits_begun,
    decision,
    frame,
    message,
    opened,
    opened_store,
    register,
)


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    async with opened_store(tmp_path / "store.db", ["bay-1", RIG]) as found:
        yield found


@pytest.mark.parametrize(("last_s", "durable"), [(9.999, None), (10.0, 2)])
async def test_frames_without_events_wait_ten_seconds(
    store: Store, last_s: float, durable: int | None
) -> None:
    store.append(RIG, frame(1, t_s=0.0), decision())
    store.append(RIG, frame(2, t_s=last_s), decision())
    await commits_begun(store)
    assert store.durable_seq(RIG) == durable


async def test_the_ten_seconds_count_from_the_last_flush(store: Store) -> None:
    store.append(RIG, frame(1), decision())
    store.append(RIG, frame(5), decision(alarm()))
    store.append(RIG, frame(14), decision())
    await commits_begun(store)
    assert store.durable_seq(RIG) == 5
    store.append(RIG, frame(15), decision())
    await commits_begun(store)
    assert store.durable_seq(RIG) == 15


async def test_a_monotonic_clock_that_starts_anew_does_not_hold_frames_back(store: Store) -> None:
    store.append(RIG, frame(1, t_s=90_000.0), decision(alarm()))
    store.append(RIG, frame(2, t_s=3.0), decision())
    store.append(RIG, frame(3, t_s=13.0), decision())
    await commits_begun(store)
    assert store.durable_seq(RIG) == 3


COMMAND = Command("c1", "seen", "Kim", "socket", 5)
LIT = Outputs(beacon_amber=True)


@pytest.mark.parametrize(
    ("made", "durable"),
    [
        ({}, None),
        ({"decision": decision(alarm())}, 1),
        ({"decision": decision(outputs=LIT)}, 1),
        ({"frame": frame(1, commands=(COMMAND,))}, 1),
        ({"outgoing": (message(1),)}, 1),
    ],
    ids=["plain", "event", "outputs", "command", "message"],
)
async def test_what_matters_is_flushed_at_once(
    store: Store, made: dict[str, object], durable: int | None
) -> None:
    known = {"frame": frame(1), "decision": decision()} | made
    store.append(RIG, **known)  # type: ignore[arg-type]  # the table above is typed loosely
    await commits_begun(store)
    assert store.durable_seq(RIG) == durable


async def test_outputs_that_stay_changed_are_no_change(store: Store) -> None:
    store.append(RIG, frame(1), decision(outputs=LIT))
    store.append(RIG, frame(2), decision(outputs=LIT))
    await commits_begun(store)
    assert store.durable_seq(RIG) == 1


async def test_an_event_takes_every_frame_before_it_along(store: Store, tmp_path: Path) -> None:
    store.append("bay-1", frame(1), decision())
    store.append(RIG, frame(1), decision())
    store.append("bay-1", frame(2), decision(alarm()))
    await commits_begun(store)
    assert (store.durable_seq("bay-1"), store.durable_seq(RIG)) == (2, 1)


async def test_the_loop_is_told_after_the_commit_and_in_its_own_thread(
    store: Store, tmp_path: Path
) -> None:
    told: list[tuple[str, int, int, bool]] = []
    ended = asyncio.Event()

    def on_durable(rig: str, seq: int) -> None:
        own = threading.current_thread() is threading.main_thread()
        # Another connection sees only what is committed.
        stored = len(list(StoreReader(tmp_path / "store.db").events(1)))
        told.append((rig, seq, stored, own))
        ended.set()

    store.on_durable = on_durable
    store.append(RIG, frame(1), decision())
    store.append(RIG, frame(2), decision(opened(1), run=1))
    assert not told
    async with asyncio.timeout(5):
        await ended.wait()
    assert told == [(RIG, 2, 1, True)]


async def test_flush_returns_when_all_is_durable(store: Store) -> None:
    for seq in range(1, 4):
        store.append(RIG, frame(seq), decision())
    await store.flush()
    assert store.durable_seq(RIG) == 3
    await store.flush()


async def test_flush_covers_frames_that_came_during_a_commit(store: Store) -> None:
    store.append(RIG, frame(1), decision(alarm()))
    store.append(RIG, frame(2), decision())
    await store.flush()
    assert store.durable_seq(RIG) == 2


async def test_more_than_one_commit_full_is_stored_in_order(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.store.store.FRAMES_PER_COMMIT_MAX", 3)
    for seq in range(1, 11):
        store.append(RIG, frame(seq), decision())
    await store.flush()
    assert [found.seq async for found in store.frames(RIG, 1)] == list(range(1, 11))


async def test_a_cancelled_flush_leaves_the_commit_running(store: Store) -> None:
    store.append(RIG, frame(1), decision())
    waiter = asyncio.create_task(store.flush())
    await asyncio.wait([waiter], timeout=0)
    waiter.cancel()
    with pytest.raises(asyncio.CancelledError):
        await waiter
    await commits_begun(store)
    assert store.durable_seq(RIG) == 1


async def test_closing_stores_what_waits_and_twice_is_no_error(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        store.append(RIG, frame(1), decision())
        await store.close()
        await store.close()
        with pytest.raises(StoreError, match="closed"):
            store.append(RIG, frame(2), decision())
        with pytest.raises(StoreError, match="closed"):
            await store.resume(RIG)
    async with opened_store(tmp_path / "store.db") as store:
        assert store.durable_seq(RIG) == 1


@pytest.mark.parametrize("seq", [3, 2])
async def test_a_frame_that_is_not_newer_is_refused_and_nothing_lost(
    tmp_path: Path, seq: int
) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        store.append(RIG, frame(3), decision())
    async with opened_store(tmp_path / "store.db") as store:
        with pytest.raises(ValueError, match=rf"frame {seq} comes after frame 3.*last_seq"):
            store.append(RIG, frame(seq), decision())
        store.append(RIG, frame(4), decision())
        await store.flush()
        assert [found.seq async for found in store.frames(RIG, 0)] == [3, 4]


async def test_an_unregistered_rig_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="bay-9 is not registered"):
        store.append("bay-9", frame(1), decision())


async def test_the_disk_is_asked_to_be_sure(store: Store) -> None:
    """`synchronous` 2 is FULL, as SQLite's documentation of the pragma says."""
    connection = store._writer.connection
    asked = asyncio.get_running_loop().run_in_executor
    row = await asked(store._thread, lambda: connection.execute("PRAGMA synchronous").fetchone())
    mode = await asked(store._thread, lambda: connection.execute("PRAGMA journal_mode").fetchone())
    assert (row, mode) == ((2,), ("wal",))


async def test_a_broken_character_in_a_note_does_not_stop_the_store(store: Store) -> None:
    broken = alarm(tag="note \ud800")
    outgoing = (message(1),)
    store.append(RIG, frame(1), Decision(Outputs(), (opened(1), broken), 1), outgoing=outgoing)
    store.append(RIG, frame(2), decision(closed(1), run=1))
    await store.flush()
    assert store.store_ok


async def test_registering_again_keeps_count_of_what_waits(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        store.append(RIG, frame(1), decision())
        register(store)
        with pytest.raises(ValueError, match="comes after"):
            store.append(RIG, frame(1), decision())
