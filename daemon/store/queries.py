"""Reads shared by the writer and by readers in other processes.

Each is short: frames and events come a page at a time, because a reader that
holds on to the database keeps its log from being reused.
"""

import sqlite3
from collections.abc import Mapping
from pathlib import Path

from daemon.store import codec
from daemon.store.chain import decode_event
from daemon.store.errors import StoreDamaged, StoreError
from daemon.store.records import CheckpointRecord, EventRecord, RunRecord
from rules.events import PermitChanged
from rules.frame import Frame

PAGE_ROWS = 500
SEQ_MAX = 2**63 - 1

_RUN = (
    "SELECT run.id, rig.name, number, opened_seq, opened_wall_ns, closed_seq, closed_wall_ns, "
    "outcome, hold_s, limits_hash, rules_version, software_version "
    "FROM run JOIN rig ON rig.id = run.rig "
)
EVENT = (
    "SELECT rig.name, event.seq, n, run, wall_ns, body, hash "
    "FROM event JOIN rig ON rig.id = event.rig "
)


def rigs(connection: sqlite3.Connection) -> dict[str, int]:
    """All rigs ever seen, with their numbers in the store."""
    return dict(connection.execute("SELECT name, id FROM rig ORDER BY id"))


def rig_number(connection: sqlite3.Connection, rig: str) -> int:
    """Number of a rig in the store; 0, which none has, for one never seen."""
    row = connection.execute("SELECT id FROM rig WHERE name = ?", (rig,)).fetchone()
    return int(row[0]) if row else 0


def limits(connection: sqlite3.Connection) -> dict[str, str]:
    """All limits frames were ever judged by, as JSON, by their hash."""
    return dict(connection.execute("SELECT hash, body FROM limits"))


def limits_of(known: Mapping[str, str], limits_hash: str) -> str:
    """One of them.

    Raises:
        StoreDamaged: it is not stored.
    """
    if limits_hash not in known:
        raise StoreDamaged(
            f"the limits with hash {limits_hash[:12]!r} are named by a frame or run, but not stored"
        )
    return known[limits_hash]


def _layouts(connection: sqlite3.Connection, keys: set[bytes]) -> dict[bytes, codec.Layout]:
    found = {}
    for key in keys:
        row = connection.execute("SELECT body FROM layout WHERE key = ?", (key,)).fetchone()
        if row is not None:
            found[key] = codec.layout_from(row[0])
    return found


def frames_page(
    connection: sqlite3.Connection, rig: str, first_seq: int, last_seq: int
) -> list[Frame]:
    """Up to `PAGE_ROWS` frames of a rig, both ends included, in order.

    Raises:
        StoreDamaged: a frame cannot be read.
    """
    rows = connection.execute(
        "SELECT seq, body FROM frame WHERE rig = ? AND seq BETWEEN ? AND ? ORDER BY seq LIMIT ?",
        (rig_number(connection, rig), first_seq, last_seq, PAGE_ROWS),
    ).fetchall()
    known = _layouts(connection, {codec.layout_key(body) for _, body in rows})
    found = []
    for seq, body in rows:
        try:
            found.append(codec.decode(body, known))
        except StoreDamaged as error:
            raise StoreDamaged(f"rig {rig}, frame {seq}: {error}") from error
    return found


def runs(connection: sqlite3.Connection, where: str = "", *values: object) -> list[RunRecord]:
    """Runs in order of opening; `where` is a clause over `run` and `rig`."""
    return [
        RunRecord(*row) for row in connection.execute(_RUN + where + " ORDER BY run.id", values)
    ]


def last_run(connection: sqlite3.Connection, rig: str) -> RunRecord | None:
    """The newest run of a rig."""
    found = runs(
        connection,
        "WHERE run.id = (SELECT max(id) FROM run WHERE rig = (SELECT id FROM rig WHERE name = ?))",
        rig,
    )
    return found[0] if found else None


def events(connection: sqlite3.Connection, where: str, *values: object) -> list[EventRecord]:
    """Events, by a clause over `event` and `rig` that orders and limits them.

    Raises:
        StoreDamaged: one cannot be read.
    """
    return [
        EventRecord(rig, seq, n, run, wall_ns, decode_event(body), link.hex())
        for rig, seq, n, run, wall_ns, body, link in connection.execute(EVENT + where, values)
    ]


def last_permit(connection: sqlite3.Connection, rig: str) -> PermitChanged | None:
    """The newest change of a rig's heat permit; None if there is none.

    Raises:
        StoreDamaged: it cannot be read.
    """
    where = "WHERE rig.name = ? AND kind = 'permit' ORDER BY event.seq DESC, n DESC LIMIT 1"
    found = [item.event for item in events(connection, where, rig)]
    return found[0] if found and isinstance(found[0], PermitChanged) else None


def newest_checkpoint(connection: sqlite3.Connection, rig: str) -> CheckpointRecord | None:
    """The newest saved state of a rig."""
    row = connection.execute(
        "SELECT seq, version, body FROM checkpoint WHERE rig = ? ORDER BY seq DESC LIMIT 1",
        (rig_number(connection, rig),),
    ).fetchone()
    return CheckpointRecord(*row) if row else None


def damaged(path: Path, error: sqlite3.DatabaseError) -> StoreDamaged:
    """What to say when SQLite cannot make sense of the file."""
    return StoreDamaged(
        f"{path}: the store cannot be read ({error}); move the file and those beside it "
        "away, keep them for maintenance, and start again with a new store"
    )


def unusable(path: Path, error: sqlite3.OperationalError) -> StoreError:
    """What to say when the file is there but cannot be used now."""
    return StoreError(
        f"{path}: the store cannot be used ({error}); look at the path, its rights and "
        "the room on the disk, and whether another program holds the file"
    )
