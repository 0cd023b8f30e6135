"""What frames are told of the supervisor itself."""

import asyncio
import shutil
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from daemon.health import FIRST_TRY_S, HealthWatch
from daemon.store import Store
from rules.frame import NS_PER_S, Health
from tests.store_samples import RIG, WALL_NS, decision, frame, message, opened_store
from tests.virtual_clock import VirtualClock


class Clock(VirtualClock):
    """Also a rig's clock."""

    boot_id = "boot"

    def __init__(self, *, pretend: bool = False) -> None:
        super().__init__(0, WALL_NS)
        self.pretend = pretend

    def wall_trusted(self) -> bool:
        return True

    def utc_offset_s(self) -> int:
        return 0

    @contextmanager
    def busy(self) -> Iterator[None]:
        yield


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[Store]:
    async with opened_store(tmp_path / "store.db") as found:
        yield found


def _watch(store: Store, clock: Clock) -> HealthWatch:
    return HealthWatch(store, None, {"mqtt": 300.0, "sms": 60.0}, clock, clock)


async def _put(store: Store, seq: int, dest: str) -> None:
    """A message of frame `seq`, dated at so many seconds."""
    store.append(RIG, frame(seq), decision(), outgoing=[message(seq, dest)])
    await store.flush()


async def _looked(store: Store, clock: Clock, after_s: float) -> None:
    """After so long a look that was due is over: a question of ours comes behind its own."""
    await clock.advance(after_s)
    await store.outbox_depth("nobody")
    await clock.advance(0)


async def test_before_the_first_look_nothing_is_claimed(store: Store) -> None:
    assert _watch(store, Clock()).now() == Health(store_ok=True, broker_ok=None)


async def test_room_on_the_disk_is_told_in_whole_megabytes(store: Store, tmp_path: Path) -> None:
    watch = _watch(store, Clock())
    await watch.look()
    told_mb = watch.now().store_free_mb
    assert told_mb == pytest.approx(shutil.disk_usage(tmp_path).free // 1_000_000, abs=50)


@pytest.mark.parametrize(
    ("dest", "at_s", "failing"),
    [("mqtt", 299, ""), ("mqtt", 301, "mqtt"), ("sms", 59, ""), ("sms", 61, "sms")],
)
async def test_a_message_is_late_by_its_own_destinations_limit(
    store: Store, dest: str, at_s: float, failing: str
) -> None:
    clock = Clock()
    watch = _watch(store, clock)
    await _put(store, 1, dest)
    await watch.look()
    await clock.advance(1 + at_s)
    assert watch.now().delivery_failing == failing


async def test_what_has_been_delivered_is_late_no_more(store: Store) -> None:
    clock = Clock()
    watch = _watch(store, clock)
    await _put(store, 1, "mqtt")
    await _put(store, 200, "mqtt")
    await clock.advance(400)
    await watch.look()
    assert watch.now().delivery_failing == "mqtt"
    delivery = await store.next_delivery("mqtt", clock.wall_ns())
    assert delivery is not None
    await store.delivered("mqtt", delivery.seq)
    await watch.look()
    assert watch.now().delivery_failing == ""  # the next one has waited for 200 s only


async def test_a_pretend_hour_makes_no_message_late(store: Store) -> None:
    clock = Clock(pretend=True)
    watch = _watch(store, clock)
    await _put(store, 1, "mqtt")
    await watch.look()
    await clock.advance(3600)
    assert watch.now().delivery_failing == ""


async def test_a_broker_is_away_only_once_it_has_been_tried(store: Store) -> None:
    clock, answers = Clock(), [False]
    watch = HealthWatch(store, lambda: answers[0], {}, clock, clock)
    assert watch.now().broker_ok is None
    await clock.advance(FIRST_TRY_S - 1)
    assert watch.now().broker_ok is None
    await clock.advance(1)
    assert watch.now().broker_ok is False
    early = HealthWatch(store, lambda: answers[0], {}, clock, clock)
    answers[0] = True
    assert early.now().broker_ok is True
    answers[0] = False
    assert early.now().broker_ok is False


async def test_it_looks_again_by_itself_and_a_disk_that_refuses_stops_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock()
    watch = _watch(store, clock)
    job = asyncio.create_task(watch.run())
    await _looked(store, clock, 0)
    assert watch.now().store_free_mb is not None

    def gone(path: Path) -> None:
        raise OSError(5, "Input/output error", str(path))

    monkeypatch.setattr("daemon.store.writer.shutil.disk_usage", gone)
    await _looked(store, clock, 10)
    assert watch.now().store_free_mb is None
    monkeypatch.undo()
    await _looked(store, clock, 10)
    assert watch.now().store_free_mb is not None
    assert clock.now_ns() == 20 * NS_PER_S
    job.cancel()
    with suppress(asyncio.CancelledError):
        await job
