"""The sole writer: one connection, used from one thread, whole frames per commit."""

import shutil
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import structlog

from daemon.store import chain, queries
from daemon.store.errors import StoreError
from daemon.store.files import Reserve
from daemon.store.migrations import migrate
from daemon.store.outbox import Outbox
from daemon.store.records import Resume
from daemon.store.waiting import Waiting
from rules.events import Event, RunClosed, RunOpened

log = structlog.get_logger()

CHECKPOINTS_KEPT = 4
BUSY_S_MAX = 5.0
_LOG_PAGES = 1000  # SQLite's own default
_LOG_BYTES_KEPT = 4 << 20


@dataclass(slots=True)
class _Head:
    """Where the record of one rig stands; replaced only after a commit."""

    number: int
    last_seq: int | None
    link: bytes
    segment: chain.Segment | None

    def copy(self) -> "_Head":
        return replace(self, segment=self.segment.copy() if self.segment else None)


class Writer:
    """All writing; every method runs in the writer's thread.

    Attributes:
        connection: in autocommit mode; transactions are explicit.
        outbox: its outgoing messages.
        reserve: disk space kept back.
    """

    def __init__(self, path: Path, *, outbox_rows_max: int) -> None:
        """Open the store, making or migrating it as needed.

        Raises:
            StoreVersion: a newer program made it.
            StoreDamaged: it is not a store, or cannot be read.
            StoreError: the file cannot be opened or written.
        """
        self._path = path
        self.reserve = Reserve(path)
        self.connection = _connect(path)
        try:
            self._heads = {
                rig: self._head(rig, number)
                for rig, number in queries.rigs(self.connection).items()
            }
        except sqlite3.DatabaseError as error:
            self.connection.close()
            raise queries.damaged(path, error) from error
        self.outbox = Outbox(self.connection, rows_max=outbox_rows_max)
        self._set_log_size()

    def commit(self, batch: Sequence[Waiting]) -> None:
        """Make whole frames durable, all or none.

        When the disk is full the reserve is given up and the commit tried again.

        Raises:
            sqlite3.Error: nothing of the batch was stored.
        """
        if not self._commit_unless_full(batch):
            log.error("store.reserve_released", path=str(self._path))
            self._set_log_size()
            self._commit(batch)
        if not self.reserve.held and self.reserve.restore():
            log.info("store.reserve_restored", path=str(self._path))
            self._set_log_size()

    def last_seqs(self) -> dict[str, int]:
        """The newest durable frame of every rig."""
        return {
            rig: head.last_seq for rig, head in self._heads.items() if head.last_seq is not None
        }

    def resume(self, rig: str) -> Resume:
        """Where the record of a rig stands."""
        checkpoint = queries.newest_checkpoint(self.connection, rig)
        run = queries.last_run(self.connection, rig)
        head = self._heads.get(rig)
        numbers = self.connection.execute(
            "SELECT coalesce(max(number), 0) FROM run WHERE rig = ?",
            (head.number if head else 0,),
        ).fetchone()
        return Resume(
            checkpoint=checkpoint,
            first_seq=checkpoint.seq + 1 if checkpoint else self._first_seq(head),
            last_seq=head.last_seq if head else None,
            open_run=run if run is not None and run.outcome is None else None,
            run_number_max=numbers[0],
            permit=queries.last_permit(self.connection, rig),
        )

    def room_and_oldest(self, dests: Sequence[str]) -> tuple[int, dict[str, int]]:
        """Room left on the disk, bytes, and since when each destination has been waited for."""
        room_bytes = shutil.disk_usage(self._path.parent).free
        oldest = {dest: self.outbox.oldest_wall_ns(dest) for dest in dests}
        return room_bytes, {dest: at_ns for dest, at_ns in oldest.items() if at_ns is not None}

    def close(self) -> None:
        """Close the database; its log is folded in."""
        self.connection.close()

    def _set_log_size(self) -> None:
        """Without the reserve the log is folded in at each commit.

        It takes 19 kB for an event that needs half a kB in the database: the
        room of the reserve held 56 events without this, and 2121 with it.
        """
        pages = _LOG_PAGES if self.reserve.held else 1
        self.connection.execute(f"PRAGMA wal_autocheckpoint = {pages}")

    def _commit_unless_full(self, batch: Sequence[Waiting]) -> bool:
        """Commit; False if the disk was full and the reserve has now been given up."""
        try:
            self._commit(batch)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_FULL or not self.reserve.release():
                raise
            return False
        return True

    def _commit(self, batch: Sequence[Waiting]) -> None:
        heads: dict[str, _Head] = {}
        given_up = 0
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            self._put_common(batch)
            for entry in batch:
                rig = entry.owner.rig
                if rig not in heads:
                    heads[rig] = self._heads[rig].copy() if rig in self._heads else self._new(rig)
                self._put(heads[rig], entry)
            if any(entry.outgoing for entry in batch):
                given_up = self.outbox.trim()
            self.connection.execute("COMMIT")
        except BaseException:
            # A full disk may have ended the transaction already.
            self.connection.rollback()
            raise
        self._heads.update(heads)
        if given_up:
            log.error("store.outbox_overflow", messages=given_up)

    def _put(self, head: _Head, entry: Waiting) -> None:
        self.connection.execute(
            "INSERT INTO frame VALUES (?, ?, ?, ?, ?, ?)",
            (head.number, entry.seq, entry.run, entry.t_ns, entry.wall_ns, entry.body),
        )
        head.last_seq = entry.seq
        self._extend(head, entry.seq, entry.run, entry.t_ns, entry.body)
        for n, event in enumerate(entry.events):
            self._put_event(head, entry, n, event)
        self._put_checkpoints(head, entry)
        self.outbox.add(entry.outgoing, wall_ns=entry.wall_ns)

    def _put_event(self, head: _Head, entry: Waiting, n: int, event: Event) -> None:
        body = chain.encode_event(event)
        link = chain.link(
            head.link, seq=entry.seq, n=n, run=entry.run, wall_ns=entry.wall_ns, body=body
        )
        tag, state = chain.tag_and_state(event)
        sealed = (entry.wall_ns, body, head.link, link)
        self.connection.execute(
            "INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (head.number, entry.seq, n, entry.run, event.event, tag, state, *sealed),
        )
        head.link = link
        if isinstance(event, RunOpened):
            self._open_run(head, entry, event)
        elif isinstance(event, RunClosed):
            self._close_run(head, entry, event)

    def _open_run(self, head: _Head, entry: Waiting, event: RunOpened) -> None:
        owner = entry.owner
        left_open = self.connection.execute(
            "UPDATE run SET outcome = 'unknown', closed_seq = ?, closed_wall_ns = ? "
            "WHERE rig = ? AND outcome IS NULL AND opened_seq < ?",
            (entry.seq - 1, entry.wall_ns, head.number, entry.seq),
        )
        if left_open.rowcount:
            log.warning("store.run_left_open", rig=owner.rig, opened=event.run)
        judged_by = (owner.limits_hash, owner.rules_version, owner.software_version)
        self.connection.execute(
            "INSERT INTO run (rig, number, opened_seq, opened_wall_ns, limits_hash, "
            "rules_version, software_version) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (head.number, event.run, entry.seq, entry.wall_ns, *judged_by),
        )

    def _close_run(self, head: _Head, entry: Waiting, event: RunClosed) -> None:
        self.connection.execute(
            "UPDATE run SET outcome = ?, closed_seq = ?, closed_wall_ns = ?, hold_s = ? "
            "WHERE id = (SELECT max(id) FROM run WHERE rig = ? AND number = ?)",
            (event.outcome, entry.seq, entry.wall_ns, event.hold_s, head.number, event.run),
        )
        if head.segment is not None:
            self._put_segment(head, head.segment)
            head.segment = None

    def _put_checkpoints(self, head: _Head, entry: Waiting) -> None:
        put = (
            "INSERT INTO checkpoint VALUES (?, ?, ?, ?, ?) ON CONFLICT (rig, seq) "
            "DO UPDATE SET opening = max(opening, excluded.opening)"
        )
        opens = any(isinstance(event, RunOpened) for event in entry.events)
        version = entry.owner.rules_version
        if entry.opening is not None:
            self.connection.execute(put, (head.number, entry.seq - 1, version, True, entry.opening))
        if entry.checkpoint is None:
            return
        self.connection.execute(put, (head.number, entry.seq, version, opens, entry.checkpoint))
        self.connection.execute(
            "DELETE FROM checkpoint WHERE rig = ?1 AND opening = 0 AND seq NOT IN "
            "(SELECT seq FROM checkpoint WHERE rig = ?1 ORDER BY seq DESC LIMIT ?2)",
            (head.number, CHECKPOINTS_KEPT),
        )

    def _extend(self, head: _Head, seq: int, run: int, t_ns: int, body: bytes) -> None:
        """Take a frame into its segment; one that is complete is written."""
        segment = head.segment
        if segment is None or not segment.fits(run=run, seq=seq, t_ns=t_ns):
            if segment is not None:
                self._put_segment(head, segment)
            segment = head.segment = chain.Segment.begin(run=run, seq=seq, t_ns=t_ns)
        segment.add(seq, body)

    def _put_segment(self, head: _Head, segment: chain.Segment) -> None:
        self.connection.execute(
            "INSERT INTO segment VALUES (?, ?, ?, ?, ?, NULL)",
            (head.number, segment.first_seq, segment.last_seq, segment.run, segment.leaf_hash),
        )

    def _put_common(self, batch: Sequence[Waiting]) -> None:
        """What frames refer to, once."""
        limits = {entry.owner.limits_hash: entry.owner.limits_json for entry in batch}
        self.connection.executemany(
            "INSERT INTO limits VALUES (?, ?) ON CONFLICT (hash) DO NOTHING", limits.items()
        )
        layouts = {entry.layout.key: entry.layout.body for entry in batch}
        self.connection.executemany(
            "INSERT INTO layout VALUES (?, ?) ON CONFLICT (key) DO NOTHING", layouts.items()
        )

    def _new(self, rig: str) -> _Head:
        added = self.connection.execute("INSERT INTO rig (name) VALUES (?)", (rig,))
        return _Head(int(added.lastrowid or 0), None, chain.genesis(rig), None)

    def _head(self, rig: str, number: int) -> _Head:
        """Where a rig stands, from what is stored."""
        last_seq = self.connection.execute(
            "SELECT max(seq) FROM frame WHERE rig = ?", (number,)
        ).fetchone()[0]
        link = self.connection.execute(
            "SELECT hash FROM event WHERE rig = ? ORDER BY seq DESC, n DESC LIMIT 1", (number,)
        ).fetchone()
        head = _Head(number, last_seq, link[0] if link else chain.genesis(rig), None)
        for row in self.connection.execute(
            "SELECT seq, run, t_ns, body FROM frame WHERE rig = ?1 AND seq > "
            "(SELECT coalesce(max(last_seq), -1) FROM segment WHERE rig = ?1) ORDER BY seq",
            (number,),
        ):
            self._extend(head, *row)
        return head

    def _first_seq(self, head: _Head | None) -> int:
        if head is None:
            return 0
        first = self.connection.execute(
            "SELECT min(seq) FROM frame WHERE rig = ?", (head.number,)
        ).fetchone()[0]
        return int(first or 0)


def _connect(path: Path) -> sqlite3.Connection:
    try:
        connection = sqlite3.connect(path, isolation_level=None, timeout=BUSY_S_MAX)
    except sqlite3.OperationalError as error:
        raise queries.unusable(path, error) from error
    try:
        _prepare(connection, path)
    except sqlite3.OperationalError as error:
        connection.close()
        raise queries.unusable(path, error) from error
    except sqlite3.DatabaseError as error:
        connection.close()
        raise queries.damaged(path, error) from error
    except StoreError as error:
        connection.close()
        raise type(error)(f"{path}: {error}") from error
    return connection


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    """Look at the file before a byte of it is changed, then make it ready."""
    before, after = migrate(connection)
    if before != after:
        log.info("store.migrated", path=str(path), before=before, after=after)
    with closing(connection.execute("PRAGMA journal_mode = WAL")) as mode:
        if mode.fetchone()[0] != "wal":
            raise StoreError("cannot keep a write-ahead log here; use a local disk")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(f"PRAGMA journal_size_limit = {_LOG_BYTES_KEPT}")
