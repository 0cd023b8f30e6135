"""A changed record shows: the event chain, the segments and their hashes."""

import hashlib
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from daemon.store import StoreDamaged, StoreReader, chain
from rules.events import Interrupted
from tests.store_samples import RIG, alarm, closed, decision, frame, opened, opened_store


@pytest.fixture
async def path(tmp_path: Path) -> Path:
    """150 frames, 1 s apart; run 1 from 11 to 130; two events in frame 20."""
    path = tmp_path / "store.db"
    async with opened_store(path) as store:
        for seq in range(1, 151):
            events = {
                11: [opened(1)],
                20: [alarm(), alarm("bag.low", "warn")],
                25: [alarm(state="clear")],
                130: [closed(1)],
            }.get(seq, [])
            store.append(RIG, frame(seq), decision(*events, run=1 if 11 <= seq <= 130 else 0))
            if seq % 10 == 0:
                await store.flush()
    return path


def _tamper(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for statement in statements:
            assert connection.execute(statement).rowcount > 0


def _segments(path: Path) -> Sequence[tuple[int, int, int]]:
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("SELECT run, first_seq, last_seq FROM segment ORDER BY 2")
        return rows.fetchall()


async def test_an_honest_record_agrees_with_itself(path: Path) -> None:
    reader = StoreReader(path)
    assert reader.verify_chain(RIG) is None
    assert reader.verify_segments(RIG) is None


async def test_the_chain_is_what_its_description_says(path: Path) -> None:
    """Worked by hand with hashlib from the description in `chain`."""
    first = next(StoreReader(path).events(1))
    body = b'{"event":"run_opened","run":1,"why":"pads warm"}'
    place = b"".join(number.to_bytes(8, "big") for number in (11, 0, 1, frame(11).wall_ns))
    before = hashlib.sha256(b"bay-2").digest()
    assert first.hash == hashlib.sha256(before + place + body).hexdigest()


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ("UPDATE event SET body = replace(body, '-42', '-12') WHERE seq = 20 AND n = 0", (20, 0)),
        ("UPDATE event SET wall_ns = wall_ns + 1 WHERE seq = 20 AND n = 1", (20, 1)),
        ("UPDATE event SET run = 0 WHERE seq = 25", (25, 0)),
        ("UPDATE event SET state = 'warn' WHERE seq = 20 AND n = 0", (20, 0)),
        ("UPDATE event SET tag = 'bag.drift' WHERE seq = 25", (25, 0)),
        ("UPDATE event SET kind = 'prompt' WHERE seq = 25", (25, 0)),
        ("UPDATE event SET seq = 21 WHERE seq = 20 AND n = 1", (21, 1)),
        ("UPDATE event SET hash = zeroblob(32) WHERE seq = 130", (130, 0)),
        ("DELETE FROM event WHERE seq = 20 AND n = 0", (20, 1)),
        ("DELETE FROM event WHERE seq = 11", (20, 0)),
        (
            "INSERT INTO event SELECT rig, 22, n, run, kind, tag, state, wall_ns, body, "
            "prev_hash, hash FROM event WHERE seq = 25",
            (22, 0),
        ),
    ],
)
async def test_a_changed_event_row_is_found(
    path: Path, change: str, place: tuple[int, int]
) -> None:
    _tamper(
        path,
        change.replace("replace(body,", "CAST(replace(body,").replace("'-12')", "'-12') AS BLOB)"),
    )
    bad = StoreReader(path).verify_chain(RIG)
    assert bad is not None
    assert (bad.rig, bad.seq, bad.n) == (RIG, *place)


async def test_a_cut_tail_is_seen_only_by_the_head(path: Path) -> None:
    head = StoreReader(path).chain_head(RIG)
    _tamper(path, "DELETE FROM event WHERE seq = 130")
    assert StoreReader(path).verify_chain(RIG) is None
    assert StoreReader(path).chain_head(RIG) != head


async def test_segments_are_a_minute_and_keep_to_one_run(path: Path) -> None:
    # The last one, 131 to 150, is not complete.
    assert _segments(path) == [(0, 1, 10), (1, 11, 70), (1, 71, 130)]


async def test_a_run_that_closes_is_sealed_at_once(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    async with opened_store(path) as store:
        store.append(RIG, frame(1), decision(opened(1), run=1))
        await store.flush()
        assert _segments(path) == []
        store.append(RIG, frame(2), decision(closed(1), run=1))
        await store.flush()
        assert _segments(path) == [(1, 1, 2)]


async def test_a_segment_goes_on_over_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    for first in range(1, 181, 45):
        async with opened_store(path) as store:
            for seq in range(first, first + 45):
                store.append(RIG, frame(seq), decision(run=1))
    assert _segments(path) == [(1, 1, 60), (1, 61, 120)]
    assert StoreReader(path).verify_segments(RIG) is None


async def test_frames_left_out_begin_a_new_segment(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db") as store:
        for seq in (1, 2, 5, 6):
            store.append(RIG, frame(seq), decision())
        store.append(RIG, frame(7, t_s=1.0), decision())
    assert _segments(tmp_path / "store.db") == [(0, 1, 2), (0, 5, 6)]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE frame SET body = (SELECT body FROM frame WHERE seq = 80) WHERE seq = 90",
        "DELETE FROM frame WHERE seq = 71",
    ],
)
async def test_changed_frames_are_found(path: Path, change: str) -> None:
    _tamper(path, change)
    bad = StoreReader(path).verify_segments(RIG)
    assert bad is not None
    assert bad.seq == 71


async def test_a_segment_thinned_with_notice_is_passed_over(path: Path) -> None:
    _tamper(
        path,
        "DELETE FROM frame WHERE seq BETWEEN 71 AND 100",
        "UPDATE segment SET notice = 'thinned' WHERE first_seq = 71",
    )
    assert StoreReader(path).verify_segments(RIG) is None


async def test_a_damaged_frame_is_named(path: Path) -> None:
    _tamper(path, "UPDATE frame SET body = zeroblob(100) WHERE seq = 90")
    with pytest.raises(StoreDamaged, match=r"rig bay-2, frame 90: .*altered or cut short"):
        list(StoreReader(path).frames(1))


def test_leaf_hashes_are_those_of_rfc_6962() -> None:
    empty_leaf = "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"  # RFC 6962, 2.1
    assert chain.leaf_hash([]).hex() == empty_leaf
    segment = chain.Segment.begin(run=1, seq=1, t_ns=0)
    assert segment.leaf_hash.hex() == empty_leaf
    segment.add(1, b"ab")
    segment.add(2, b"c")
    assert (
        segment.leaf_hash == hashlib.sha256(b"\x00abc").digest() == chain.leaf_hash([b"ab", b"c"])
    )


def test_bodies_are_canonical_json_as_in_rfc_8785() -> None:
    # RFC 8785, 3.2.2.3 and 3.2.3: keys sorted, 1e30 as 1e+30, 4.50 as 4.5.
    assert chain.encode_event(Interrupted(1e30, True)) == (
        b'{"event":"interrupted","gap_s":1e+30,"same_boot":true}'
    )
    assert b'"gap_s":4.5,' in chain.encode_event(Interrupted(4.50, True))


@pytest.mark.parametrize("gap_s", [float("inf"), 5.0])
def test_an_event_is_never_lost_for_its_contents(gap_s: float) -> None:
    found = chain.decode_event(chain.encode_event(Interrupted(gap_s, False)))
    assert found == Interrupted(gap_s, False)
    assert isinstance(found, Interrupted)
    assert isinstance(found.gap_s, float)


@pytest.mark.parametrize(
    "body", [b"", b"[]", b'{"event":"no_such"}', b'{"event":"alarm"}', b"\xff"]
)
def test_what_is_no_event_is_damaged(body: bytes) -> None:
    with pytest.raises(StoreDamaged, match="cannot be read"):
        chain.decode_event(body)
