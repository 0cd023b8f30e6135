"""Runs open and close by themselves; checkpoints, resuming and reading back."""

import hashlib
from pathlib import Path
from typing import Any

import pytest

from daemon.store import StoreDamaged, StoreReader, writer
from tests.store_samples import (
    RIG,
    alarm,
    closed,
    commits_begun,
    decision,
    frame,
    opened,
    opened_store,
    register,
)


async def _one_run(path: Path) -> None:
    """Frames 1 to 9, of which 3 to 7 are run 4 on the rig."""
    async with opened_store(path) as store:
        for seq in (1, 2):
            store.append(RIG, frame(seq), decision())
        store.append(RIG, frame(3), decision(opened(4), alarm(), run=4), opening=b"before 3")
        for seq in (4, 5, 6):
            store.append(RIG, frame(seq), decision(run=4))
        store.append(RIG, frame(7), decision(alarm(state="clear"), closed(4), run=4))
        for seq in (8, 9):
            store.append(RIG, frame(seq), decision())


async def test_a_run_is_read_back_whole(tmp_path: Path) -> None:
    await _one_run(tmp_path / "store.db")
    reader = StoreReader(tmp_path / "store.db")
    (run,) = reader.runs()
    assert (run.id, run.rig, run.number, run.outcome, run.hold_s) == (1, RIG, 4, "done", 14_400.0)
    assert (run.opened_seq, run.closed_seq) == (3, 7)
    assert (run.opened_wall_ns, run.closed_wall_ns) == (frame(3).wall_ns, frame(7).wall_ns)
    assert (run.rules_version, run.software_version) == ("r1", "0.1.0")
    assert list(reader.frames(1)) == [frame(seq) for seq in range(3, 8)]
    told = [(found.seq, found.n, found.run, found.event) for found in reader.events(1)]
    assert told == [
        (3, 0, 4, opened(4)),
        (3, 1, 4, alarm()),
        (7, 0, 4, alarm(state="clear")),
        (7, 1, 4, closed(4)),
    ]
    assert reader.limits(1) == '{"trip_c":155}'
    checkpoint = reader.opening_checkpoint(1)
    assert checkpoint is not None
    assert (checkpoint.seq, checkpoint.version, checkpoint.body) == (2, "r1", b"before 3")
    assert reader.rigs() == [RIG]


async def test_an_open_run_is_open(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        store.append(RIG, frame(1), decision(opened(1), run=1))
        await store.flush()
        (run,) = StoreReader(tmp_path / "store.db").runs()
        assert (run.outcome, run.closed_seq, run.hold_s) == (None, None, None)
        assert (await store.resume(RIG)).open_run == run
        store.append(RIG, frame(2), decision(closed(1), run=1))
        await store.flush()
        assert (await store.resume(RIG)).open_run is None


async def test_a_run_never_closed_is_unknown_when_the_next_opens(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        store.append(RIG, frame(1), decision(opened(1), run=1))
        store.append(RIG, frame(5), decision(opened(2), run=2))
    first, second = StoreReader(tmp_path / "store.db").runs()
    assert (first.outcome, first.closed_seq) == ("unknown", 4)
    assert second.outcome is None


async def test_runs_of_two_rigs_do_not_mix(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db", ["bay-1", RIG]) as store:
        store.append("bay-1", frame(1), decision(opened(1), run=1))
        store.append(RIG, frame(1), decision(opened(1), run=1))
        store.append("bay-1", frame(2), decision(closed(1), run=1))
    reader = StoreReader(tmp_path / "store.db")
    assert [(run.id, run.rig, run.outcome) for run in reader.runs()] == [
        (1, "bay-1", "done"),
        (2, RIG, None),
    ]
    assert [found.rig for found in reader.events(2)] == [RIG]


async def test_each_run_keeps_the_limits_it_was_judged_by(tmp_path: Path) -> None:
    for number, limits in enumerate(('{"trip_c":155}', '{"trip_c":152}'), start=1):
        async with opened_store(tmp_path / "store.db") as store:
            register(store, limits_json=limits)
            store.append(RIG, frame(2 * number), decision(opened(number), run=number))
            store.append(RIG, frame(2 * number + 1), decision(closed(number), run=number))
    reader = StoreReader(tmp_path / "store.db")
    assert [reader.limits(number) for number in (1, 2)] == ['{"trip_c":155}', '{"trip_c":152}']


async def test_limits_of_frames_outside_any_run_are_kept_too(tmp_path: Path) -> None:
    limits_json = '{"trip_c":151}'
    limits_hash = hashlib.sha256(limits_json.encode()).hexdigest()
    async with opened_store(tmp_path / "store.db") as store:
        register(store, limits_json=limits_json)
        store.append(RIG, frame(1, limits_hash=limits_hash), decision())
        await store.flush()
        body_of = await store.limits_bodies()
        assert [body_of(found.limits_hash) async for found in store.frames(RIG, 1)] == [limits_json]
        with pytest.raises(StoreDamaged, match="hash 'cafe' are named"):
            body_of("cafe")
    assert StoreReader(tmp_path / "store.db").limits_by_hash(limits_hash) == limits_json


async def test_a_rig_never_seen_resumes_from_nothing(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        stands = await store.resume(RIG)
        assert stands.checkpoint is None
        assert (stands.first_seq, stands.last_seq, stands.run_number_max) == (0, None, 0)
        assert [found async for found in store.frames(RIG, stands.first_seq)] == []


async def test_resuming_takes_the_newest_checkpoint_and_the_frames_after(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        for seq in range(5, 25):
            saved = b"state %d" % seq if seq % 6 == 0 else None
            event = [opened(3)] if seq == 15 else []
            store.append(RIG, frame(seq), decision(*event), checkpoint=saved)
    async with opened_store(tmp_path / "store.db") as store:
        stands = await store.resume(RIG)
        assert stands.checkpoint is not None
        assert (stands.checkpoint.seq, stands.checkpoint.body) == (24, b"state 24")
        assert (stands.first_seq, stands.last_seq, stands.run_number_max) == (25, 24, 3)
        assert stands.open_run is not None
        opened_seq = stands.open_run.opened_seq
        assert [found.seq async for found in store.frames(RIG, opened_seq)] == list(range(15, 25))
        assert [found.seq async for found in store.frames(RIG, 6, 8)] == [6, 7, 8]


async def test_without_a_checkpoint_the_fold_starts_at_the_first_frame(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        for seq in (7, 8):
            store.append(RIG, frame(seq), decision())
        await store.flush()
        assert (await store.resume(RIG)).first_seq == 7


async def test_old_checkpoints_go_but_those_of_openings_stay(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        for seq in range(1, 21):
            events = [opened(seq)] if seq in (2, 9) else []
            before = b"before" if seq == 9 else None
            store.append(RIG, frame(seq), decision(*events), checkpoint=b"s", opening=before)
        await store.flush()
        await commits_begun(store)
        rows = await store._ask(
            lambda: store._writer.connection.execute("SELECT seq FROM checkpoint").fetchall()
        )
    newest = range(21 - writer.CHECKPOINTS_KEPT, 21)
    # Run 1 opened at frame 2 with only the state after it; run 2 also with that before 9.
    assert sorted(seq for (seq,) in rows) == [2, 8, 9, *newest]


async def test_long_records_come_a_page_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("daemon.store.queries.PAGE_ROWS", 4)
    async with opened_store(tmp_path / "store.db") as store:
        for seq in range(1, 14):
            event = opened(1) if seq == 1 else alarm()
            store.append(RIG, frame(seq), decision(event, alarm(), run=1))
        await store.flush()
        assert [found.seq async for found in store.frames(RIG, 1)] == list(range(1, 14))
    reader = StoreReader(tmp_path / "store.db")
    assert [found.seq for found in reader.frames(1)] == list(range(1, 14))
    places = [(found.seq, found.n) for found in reader.events(1)]
    assert places == [(seq, n) for seq in range(1, 14) for n in (0, 1)]
    assert reader.verify_chain(RIG) is None


async def test_a_reader_between_pages_does_not_hold_the_log(tmp_path: Path) -> None:
    """SQLite can fold its whole log in while a slow reader stands between two pages."""
    async with opened_store(tmp_path / "store.db") as store:
        for seq in range(1, 1200):
            store.append(RIG, frame(seq), decision(*([opened(1)] if seq == 1 else [])))
        await store.flush()
        slow = StoreReader(tmp_path / "store.db").frames(1)
        next(slow)
        store.append(RIG, frame(1200), decision(alarm()))
        await store.flush()
        busy, in_log, folded = await store._ask(
            lambda: store._writer.connection.execute("PRAGMA wal_checkpoint").fetchone()
        )
        assert (busy, in_log) == (0, folded)
        assert sum(1 for _ in slow) == 1199


async def test_what_happened_comes_in_order_of_time_by_rig_tag_and_span(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db", ["bay-1", RIG]) as store:
        store.append("bay-1", frame(1), decision(alarm("bag.low", "warn")))
        store.append(RIG, frame(2), decision(alarm("bag.burst"), opened(1)))
        store.append(RIG, frame(3), decision(alarm("bag.burst", "clear")))
    reader = StoreReader(tmp_path / "store.db")

    def happened(**asked: Any) -> list[tuple[str, int, int]]:
        return [(found.rig, found.seq, found.n) for found in reader.happened(**asked)]

    assert happened() == [("bay-1", 1, 0), (RIG, 2, 0), (RIG, 2, 1), (RIG, 3, 0)]
    assert happened(rows_max=2) == [(RIG, 2, 1), (RIG, 3, 0)], "the newest"
    assert happened(rig="bay-1") == [("bay-1", 1, 0)]
    assert happened(tag="bag.burst") == [(RIG, 2, 0), (RIG, 3, 0)]
    second_ns = frame(2).wall_ns
    assert happened(since_wall_ns=second_ns)[0] == (RIG, 2, 0)
    assert happened(until_wall_ns=second_ns)[-1] == (RIG, 2, 1)
    assert [found.seq for found in reader.frames_between(RIG, 3, 9)] == [3]


async def test_a_run_that_is_not_there_says_which_are(tmp_path: Path) -> None:
    await _one_run(tmp_path / "store.db")
    with pytest.raises(KeyError, match="no run 2: runs go from 1 to 1"):
        StoreReader(tmp_path / "store.db").run(2)
