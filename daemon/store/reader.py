"""The store as other processes read it: open, query, close, a page at a time."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from daemon.store import chain, queries
from daemon.store.errors import StoreDamaged, StoreMissing, StoreVersion
from daemon.store.migrations import SCHEMA_VERSION, schema_version
from daemon.store.records import BadRow, CheckpointRecord, EventRecord, RunRecord
from rules.frame import Frame


class StoreReader:
    """Reads a store that a daemon may be writing at the same time.

    Every method may raise `StoreMissing` (no store there), `StoreVersion`
    (made by another version), `StoreDamaged` (cannot be made sense of) or
    `StoreError` (cannot be used now).
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def rigs(self) -> list[str]:
        """Names of all rigs ever seen, oldest first."""
        with self._open() as connection:
            return list(queries.rigs(connection))

    def runs(self) -> list[RunRecord]:
        """All runs in order of opening."""
        with self._open() as connection:
            return queries.runs(connection)

    def run(self, run_id: int) -> RunRecord:
        """One run.

        Raises:
            KeyError: there is no such run; the message says which there are.
        """
        with self._open() as connection:
            found = queries.runs(connection, "WHERE run.id = ?", run_id)
            if found:
                return found[0]
            newest = connection.execute("SELECT max(id) FROM run").fetchone()[0]
        there_are = f"runs go from 1 to {newest}" if newest else "no run is stored yet"
        raise KeyError(f"no run {run_id}: {there_are}")

    def frames(self, run_id: int) -> Iterator[Frame]:
        """The frames of a run in order; of an open one, those on the disk now."""
        run = self.run(run_id)
        last_seq = queries.SEQ_MAX if run.closed_seq is None else run.closed_seq
        yield from self.frames_between(run.rig, run.opened_seq, last_seq)

    def events(self, run_id: int) -> Iterator[EventRecord]:
        """The events of a run in the order in which they were told."""
        run = self.run(run_id)
        last_seq = queries.SEQ_MAX if run.closed_seq is None else run.closed_seq
        where = (
            "WHERE rig.name = ? AND event.seq <= ? AND (event.seq, n) > (?, ?) "
            "ORDER BY event.rig, event.seq, n LIMIT ?"
        )
        after = (run.opened_seq - 1, queries.SEQ_MAX)
        while True:
            with self._open() as connection:
                page = queries.events(
                    connection, where, run.rig, last_seq, *after, queries.PAGE_ROWS
                )
            yield from page
            if len(page) < queries.PAGE_ROWS:
                return
            after = (page[-1].seq, page[-1].n)

    def happened(
        self,
        *,
        rig: str = "",
        tag: str = "",
        since_wall_ns: int = 0,
        until_wall_ns: int = queries.SEQ_MAX,
        rows_max: int = 100,
    ) -> list[EventRecord]:
        """The newest events of a span of wall time, in order of time.

        Args:
            rig: only of this rig; empty: of every rig.
            tag: only those about this hazard; empty: all.
            since_wall_ns: from then on, ns since 1970.
            until_wall_ns: until then, included, ns since 1970.
            rows_max: so many at most.
        """
        where = (
            "WHERE ?1 IN (rig.name, '') AND ?2 IN (tag, '') AND wall_ns BETWEEN ?3 AND ?4 "
            "ORDER BY wall_ns DESC, event.seq DESC, n DESC LIMIT ?5"
        )
        with self._open() as connection:
            found = queries.events(
                connection, where, rig, tag, since_wall_ns, until_wall_ns, rows_max
            )
        return found[::-1]

    def frames_between(self, rig: str, first_seq: int, last_seq: int) -> Iterator[Frame]:
        """The frames of a rig that are kept, both ends included, in order."""
        while first_seq <= last_seq:
            with self._open() as connection:
                page = queries.frames_page(connection, rig, first_seq, last_seq)
            yield from page
            if len(page) < queries.PAGE_ROWS:
                return
            first_seq = page[-1].seq + 1

    def opening_checkpoint(self, run_id: int) -> CheckpointRecord | None:
        """The state saved where a run opened: before its first frame if that was kept."""
        run = self.run(run_id)
        with self._open() as connection:
            row = connection.execute(
                "SELECT seq, version, body FROM checkpoint WHERE rig = ? "
                "AND opening = 1 AND seq BETWEEN ? AND ? ORDER BY seq LIMIT 1",
                (queries.rig_number(connection, run.rig), run.opened_seq - 1, run.opened_seq),
            ).fetchone()
        return CheckpointRecord(*row) if row else None

    def limits(self, run_id: int) -> str:
        """The limits in force when a run opened, JSON as it was registered."""
        return self.limits_by_hash(self.run(run_id).limits_hash)

    def limits_by_hash(self, limits_hash: str) -> str:
        """The limits that a frame or run names, JSON as it was registered.

        Raises:
            StoreDamaged: they are not stored.
        """
        with self._open() as connection:
            return queries.limits_of(queries.limits(connection), limits_hash)

    def chain_head(self, rig: str) -> str:
        """The newest link of a rig's chain, hexadecimal; lodged elsewhere it shows a cut tail."""
        with self._open() as connection:
            row = connection.execute(
                "SELECT hash FROM event WHERE rig = ? ORDER BY seq DESC, n DESC LIMIT 1",
                (queries.rig_number(connection, rig),),
            ).fetchone()
        return bytes(row[0] if row else chain.genesis(rig)).hex()

    def verify_chain(self, rig: str) -> BadRow | None:
        """The first event row that does not agree with those before it; None if all do.

        Rows cut off the end are not seen here; compare `chain_head`.
        """
        link = chain.genesis(rig)
        after = (-1, 0)
        while True:
            with self._open() as connection:
                page = connection.execute(
                    "SELECT seq, n, run, wall_ns, body, kind, tag, state, prev_hash, hash "
                    "FROM event WHERE rig = ? AND (seq, n) > (?, ?) "
                    "ORDER BY seq, n LIMIT ?",
                    (queries.rig_number(connection, rig), *after, queries.PAGE_ROWS),
                ).fetchall()
            for seq, n, run, wall_ns, body, *copies, before, own in page:
                link_here = chain.link(link, seq=seq, n=n, run=run, wall_ns=wall_ns, body=body)
                if before != link:
                    return BadRow(rig, seq, n, "the row before it was changed, added or taken out")
                if own != link_here:
                    return BadRow(rig, seq, n, "the row was changed")
                if copies != _copies(body):
                    return BadRow(rig, seq, n, "kind, tag or state is not that of its body")
                link, after = link_here, (seq, n)
            if len(page) < queries.PAGE_ROWS:
                return None

    def verify_segments(self, rig: str) -> BadRow | None:
        """The first segment whose frames are not those that were hashed; None if all are.

        Segments with a notice were thinned on purpose and are passed over.
        """
        after = -1
        while True:
            with self._open() as connection:
                number = queries.rig_number(connection, rig)
                segment = connection.execute(
                    "SELECT first_seq, last_seq, leaf_hash FROM segment WHERE rig = ? "
                    "AND first_seq > ? AND notice IS NULL ORDER BY first_seq LIMIT 1",
                    (number, after),
                ).fetchone()
                if segment is None:
                    return None
                first_seq, last_seq, leaf_hash = segment
                bodies = connection.execute(
                    "SELECT body FROM frame WHERE rig = ? AND seq BETWEEN ? AND ? ORDER BY seq",
                    (number, first_seq, last_seq),
                ).fetchall()
            if chain.leaf_hash(body for (body,) in bodies) != leaf_hash:
                return BadRow(rig, first_seq, 0, f"frames {first_seq} to {last_seq} were changed")
            after = first_seq

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        if not self._path.exists():
            raise StoreMissing(
                f"{self._path}: there is no store; give the path that the daemon writes, "
                "or start the daemon first"
            )
        try:
            with closing(
                sqlite3.connect(f"{self._path.resolve().as_uri()}?mode=ro", uri=True)
            ) as found:
                self._check_version(found)
                yield found
        except sqlite3.OperationalError as error:
            raise queries.unusable(self._path, error) from error
        except sqlite3.DatabaseError as error:
            raise queries.damaged(self._path, error) from error

    def _check_version(self, connection: sqlite3.Connection) -> None:
        try:
            version = schema_version(connection)
        except StoreDamaged as error:
            raise StoreDamaged(f"{self._path}: {error}") from error
        if version == SCHEMA_VERSION:
            return
        if version == 0:
            raise StoreVersion(
                f"{self._path}: is only just being made; try again in a moment, "
                "and if it stays so start the daemon on it once"
            )
        remedy = "start this version of the daemon on it once"
        if version > SCHEMA_VERSION:
            remedy = "read it with the version that made it"
        raise StoreVersion(
            f"{self._path}: has schema {version}, this program reads {SCHEMA_VERSION}; {remedy}"
        )


def _copies(body: bytes) -> list[str]:
    try:
        event = chain.decode_event(body)
    except StoreDamaged:
        return []
    return [event.event, *chain.tag_and_state(event)]
