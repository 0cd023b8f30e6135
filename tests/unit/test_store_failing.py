"""A disk that is full, hangs or comes back: nothing stops, alarms still go out."""

import asyncio
import os
import subprocess
import threading
from collections.abc import AsyncIterator, Iterator, Sequence
from itertools import count, islice
from pathlib import Path

import pytest

from daemon.outgoing import Outgoing
from daemon.store import Store, StoreFailing, StoreReader, codec
from daemon.store.files import RESERVE_BYTES
from daemon.store.waiting import Registration, Waiting, WaitingFrames
from tests.store_samples import (
    RIG,
    alarm,
    commits_begun,
    decision,
    frame,
    message,
    opened,
    opened_store,
)


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    """A store with one stored frame, which `_fill` can make refuse."""
    async with opened_store(tmp_path / "store.db", waiting_frames_max=100) as found:
        found.append(RIG, frame(1), decision(opened(1)))
        await found.flush()
        yield found
        await _room(found)


async def _fill(store: Store) -> None:
    """Let SQLite answer SQLITE_FULL from now on: no page may be added."""
    await _pages_max(store, 1)


async def _room(store: Store) -> None:
    await _pages_max(store, 1_000_000)


async def _pages_max(store: Store, pages: int) -> None:
    connection = store._writer.connection
    await store._ask(lambda: connection.execute(f"PRAGMA max_page_count = {pages}").fetchone())


BIG = b"x" * 20_000  # does not fit into the pages there are


async def test_a_full_disk_is_told_and_nothing_is_lost(store: Store, tmp_path: Path) -> None:
    assert store.store_ok
    await _fill(store)
    store.append(RIG, frame(2), decision(alarm()), checkpoint=BIG)
    with pytest.raises(StoreFailing, match=r"store.db: cannot be written.*full.*make room"):
        await store.flush()
    assert not store.store_ok
    assert store.durable_seq(RIG) == 1
    await _room(store)
    store.append(RIG, frame(3), decision())
    await commits_begun(store)
    assert store.store_ok
    assert store.durable_seq(RIG) == 3
    assert [found.seq async for found in store.frames(RIG, 1)] == [1, 2, 3]
    assert StoreReader(tmp_path / "store.db").verify_chain(RIG) is None


async def test_the_reserve_is_given_up_first_and_set_aside_again(
    store: Store, tmp_path: Path
) -> None:
    reserve = tmp_path / "store.db.reserve"
    assert reserve.stat().st_blocks * 512 >= RESERVE_BYTES
    await _fill(store)
    store.append(RIG, frame(2), decision(alarm()), checkpoint=BIG)
    await commits_begun(store)
    assert not reserve.exists()
    await _room(store)
    await store.flush()
    assert reserve.stat().st_blocks * 512 >= RESERVE_BYTES


@pytest.mark.proves("store.full.alarms_unstored")
async def test_alarms_go_out_unstored_and_once(store: Store) -> None:
    handed_back: list[Sequence[Outgoing]] = []
    store.on_unstored = handed_back.append
    await _fill(store)
    store.append(RIG, frame(2), decision(alarm()), outgoing=[message(1)], checkpoint=BIG)
    store.append(RIG, frame(3), decision(), outgoing=[message(2)])
    await commits_begun(store)
    assert handed_back == [[message(1), message(2)]]
    store.append(RIG, frame(4), decision(alarm()))
    await commits_begun(store)
    assert len(handed_back) == 1
    await _room(store)
    await store.flush()
    assert await store.next_delivery("mqtt", 0) is None
    assert store.durable_seq(RIG) == 4


async def test_without_a_receiver_messages_wait_with_their_frames(store: Store) -> None:
    await _fill(store)
    store.append(RIG, frame(2), decision(), outgoing=[message(1)], checkpoint=BIG)
    await commits_begun(store)
    await _room(store)
    await store.flush()
    assert await store.outbox_depth("mqtt") == 1


async def test_memory_has_a_limit_and_the_caller_learns_of_it(store: Store) -> None:
    await _fill(store)
    store.append(RIG, frame(2), decision(alarm()), checkpoint=BIG)
    for seq in range(3, 101):
        store.append(RIG, frame(seq), decision())
    assert not store.needs_checkpoint(RIG)
    for seq in range(101, 400):
        store.append(RIG, frame(seq), decision())
        assert len(store._waiting) <= 100
    await commits_begun(store)
    assert store.needs_checkpoint(RIG)
    store.append(RIG, frame(400), decision(), checkpoint=b"state")
    assert not store.needs_checkpoint(RIG)
    await _room(store)
    await store.flush()
    kept = [found.seq async for found in store.frames(RIG, 1)]
    # The frame with the event stays, the newest stay, plain ones in between go.
    assert kept[:2] == [1, 2]
    assert kept[-50:] == list(range(351, 401))
    assert (await store.resume(RIG)).first_seq == 401


def test_when_nothing_is_plain_the_oldest_go() -> None:
    frames = WaitingFrames(3)
    for order in range(1, 5):
        frames.put(_entry(order))
    assert [entry.order for entry in frames.drop_surplus()] == [1]
    assert [entry.order for entry in frames.oldest(9)] == [2, 3, 4]
    assert frames.drop_surplus() == []


def _entry(order: int) -> Waiting:
    owner = Registration(RIG, "{}", "", "", "")
    layout = codec.layout_of(frame(order))
    return Waiting(order, owner, order, 0, 0, 0, layout, b"", (alarm(),), (), None, None)


@pytest.fixture
def hang(store: Store) -> Iterator[threading.Event]:
    """The writer's thread stands still, as it does in a write that never ends."""
    going_on = threading.Event()
    store._thread.submit(going_on.wait)
    yield going_on
    going_on.set()


@pytest.mark.parametrize(("last_s", "told"), [(31.9, False), (32.0, True)])
async def test_a_disk_that_hangs_counts_as_failing(
    store: Store, hang: threading.Event, last_s: float, told: bool
) -> None:
    handed_back: list[Sequence[Outgoing]] = []
    store.on_unstored = handed_back.append
    store.append(RIG, frame(2), decision(alarm()), outgoing=[message(1)])
    store.append(RIG, frame(3, t_s=last_s), decision())
    assert store.store_ok is not told
    assert handed_back == ([[message(1)]] if told else [])
    hang.set()
    await store.flush()
    assert store.store_ok
    assert store.durable_seq(RIG) == 3


async def test_append_does_not_wait_for_a_disk_that_hangs(
    store: Store, hang: threading.Event
) -> None:
    for seq in range(2, 50):
        store.append(RIG, frame(seq), decision(alarm()))
    assert store.durable_seq(RIG) == 1


async def test_closing_with_a_full_disk_lets_go(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        await _fill(store)
        store.append(RIG, frame(1), decision(alarm()), checkpoint=BIG)
    async with opened_store(tmp_path / "store.db") as store:
        assert store.durable_seq(RIG) is None


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 16 MiB; only root may mount one."""
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=16M", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("this place allows no mounts")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def _fill_disk(filler: Path) -> None:
    """Write until there is no room for one more page."""
    with filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))


async def _put(store: Store, seq: int, saved_bytes: int | None = None) -> None:
    saved = None if saved_bytes is None else bytes(saved_bytes)
    store.append(RIG, frame(seq), decision(alarm()), checkpoint=saved)
    async with asyncio.timeout(5):
        await store.flush()


@pytest.mark.proves("store.full.reserve_keeps_events")
async def test_on_a_really_full_disk_the_reserve_holds_the_events(small_disk: Path) -> None:
    path = small_disk / "store.db"
    seqs = count(2)
    async with opened_store(path) as store:
        store.append(RIG, frame(1), decision(opened(1)))
        await store.flush()
        with pytest.raises(OSError, match="No space left"):
            _fill_disk(small_disk / "filler")
        while store._writer.reserve.held:
            await _put(store, next(seqs), 30_000)
        assert not store.store_ok
        for seq in islice(seqs, 200):
            await _put(store, seq)
        assert store.durable_seq(RIG) == seq
        with pytest.raises(StoreFailing, match="make room"):  # noqa: PT012 - it fills up step by step
            for seq in seqs:
                await _put(store, seq, 200_000)
        (small_disk / "filler").unlink()
        await store.flush()
        assert store.store_ok
        assert store.durable_seq(RIG) == seq
    assert StoreReader(path).verify_chain(RIG) is None
    assert sum(1 for _ in StoreReader(path).frames(1)) == seq
