"""Messages on their way out: kept with the frames, handed over in order.

Runs in the writer's thread. What became of a delivery is written at once; if
the disk refuses, it is remembered and written with the next one, so that a full
disk does not send a message twice or stop those that follow.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

import structlog

from daemon.outgoing import Outgoing
from daemon.store.codec import storable
from daemon.store.records import Delivery

log = structlog.get_logger()

DONE_KEPT = 1000
POSTPONED_NS_MAX = 3600 * 1_000_000_000
LAST_ERROR_CHARS_MAX = 500


@dataclass(frozen=True, slots=True)
class _Outcome:
    state: str
    attempts: int
    next_at_ns: int
    last_error: str


class Outbox:
    """The `outbox` and `delivery` tables of one open store."""

    def __init__(self, connection: sqlite3.Connection, *, rows_max: int) -> None:
        self._connection = connection
        self._rows_max = rows_max
        self._unwritten: dict[tuple[str, int], _Outcome] = {}

    def add(self, outgoing: Sequence[Outgoing], *, wall_ns: int) -> None:
        """Put messages at the end; one whose id is there already is left out.

        Belongs inside the transaction of the frame that led to them.
        """
        for message in outgoing:
            topic, message_id = storable(message.topic), storable(message.message_id)
            added = self._connection.execute(
                "INSERT INTO outbox (dest, wall_ns, topic, payload, retain, message_id) "
                "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (dest, message_id) DO NOTHING",
                (message.dest, wall_ns, topic, message.payload, message.retain, message_id),
            )
            if added.rowcount:
                self._connection.execute(
                    "INSERT INTO delivery VALUES (?, ?, 'waiting', 0, 0, '')",
                    (message.dest, added.lastrowid),
                )

    def trim(self) -> int:
        """Keep within the limits: finished ones go first, then the oldest waiting.

        Belongs inside the transaction that added messages.

        Returns:
            How many messages were given up without having been delivered.
        """
        rows = self._count("SELECT count(*) FROM delivery")
        finished = self._count("SELECT count(*) FROM delivery WHERE state <> 'waiting'")
        surplus = max(0, rows - finished - self._rows_max)
        self._connection.execute(
            "UPDATE delivery SET state = 'overflow' WHERE seq IN "
            "(SELECT seq FROM delivery WHERE state = 'waiting' ORDER BY seq LIMIT ?)",
            (surplus,),
        )
        self._drop_finished(finished + surplus - DONE_KEPT)
        return surplus

    def next_delivery(self, dest: str, now_wall_ns: int) -> Delivery | None:
        """The oldest message not yet done; None if there is none or it has to wait."""
        rows = self._connection.execute(
            "SELECT seq, attempts, next_at_ns FROM delivery "
            "WHERE dest = ? AND state = 'waiting' ORDER BY seq LIMIT ?",
            (dest, len(self._unwritten) + 1),
        )
        for seq, stored_attempts, stored_next_at_ns in rows:
            outcome = self._unwritten.get((dest, seq))
            if outcome is not None and outcome.state == "done":
                continue
            attempts = outcome.attempts if outcome else stored_attempts
            next_at_ns = outcome.next_at_ns if outcome else stored_next_at_ns
            # A wait longer than any we set means the wall clock was put back.
            if now_wall_ns < next_at_ns <= now_wall_ns + POSTPONED_NS_MAX:
                return None
            return Delivery(seq, self._outgoing(seq), attempts)
        return None

    def delivered(self, dest: str, seq: int) -> None:
        """The destination has taken the message."""
        self._settle(dest, seq, _Outcome("done", self._attempts(dest, seq), 0, ""))

    def postpone(self, dest: str, seq: int, next_at_ns: int, error: str) -> None:
        """The message was refused or did not get through; try again later."""
        attempts = self._attempts(dest, seq) + 1
        error = storable(error[:LAST_ERROR_CHARS_MAX])
        self._settle(dest, seq, _Outcome("waiting", attempts, next_at_ns, error))

    def depth(self, dest: str) -> int:
        """Number of messages not yet done."""
        waiting = self._count(
            "SELECT count(*) FROM delivery WHERE dest = ? AND state = 'waiting'", dest
        )
        done = sum(
            key[0] == dest and outcome.state == "done" for key, outcome in self._unwritten.items()
        )
        return waiting - done

    def oldest_wall_ns(self, dest: str) -> int | None:
        """When the oldest message not yet done was made, ns since 1970; None if there is none."""
        rows = self._connection.execute(
            "SELECT seq, outbox.wall_ns FROM delivery JOIN outbox USING (seq) "
            "WHERE delivery.dest = ? AND state = 'waiting' ORDER BY seq LIMIT ?",
            (dest, len(self._unwritten) + 1),
        )
        for seq, wall_ns in rows:
            outcome = self._unwritten.get((dest, seq))
            if outcome is None or outcome.state != "done":
                return int(wall_ns)
        return None

    def _settle(self, dest: str, seq: int, outcome: _Outcome) -> None:
        self._unwritten[dest, seq] = outcome
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(
                "UPDATE delivery SET state = ?, attempts = ?, next_at_ns = ?, last_error = ? "
                "WHERE dest = ? AND seq = ? AND state = 'waiting'",
                [
                    (kept.state, kept.attempts, kept.next_at_ns, kept.last_error, *key)
                    for key, kept in self._unwritten.items()
                ],
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._connection.rollback()
            log.warning(
                "store.delivery_unwritten",
                dest=dest,
                seq=seq,
                held=len(self._unwritten),
                why=str(error),
            )
            return
        self._unwritten.clear()

    def _attempts(self, dest: str, seq: int) -> int:
        outcome = self._unwritten.get((dest, seq))
        if outcome is not None:
            return outcome.attempts
        row = self._connection.execute(
            "SELECT attempts FROM delivery WHERE dest = ? AND seq = ?", (dest, seq)
        ).fetchone()
        return row[0] if row else 0

    def _outgoing(self, seq: int) -> Outgoing:
        dest, topic, payload, retain, message_id = self._connection.execute(
            "SELECT dest, topic, payload, retain, message_id FROM outbox WHERE seq = ?", (seq,)
        ).fetchone()
        return Outgoing(dest, topic, payload, bool(retain), message_id)

    def _drop_finished(self, surplus: int) -> None:
        if surplus <= 0:
            return
        oldest = self._connection.execute(
            "SELECT dest, seq FROM delivery WHERE state <> 'waiting' ORDER BY seq LIMIT ?",
            (surplus,),
        ).fetchall()
        self._connection.executemany("DELETE FROM delivery WHERE dest = ? AND seq = ?", oldest)
        self._connection.executemany(
            "DELETE FROM outbox WHERE seq = ?", [(seq,) for _, seq in oldest]
        )

    def _count(self, sql: str, *values: str) -> int:
        return int(self._connection.execute(sql, values).fetchone()[0])
