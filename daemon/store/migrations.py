"""The schema, as numbered steps; each is one transaction and is never edited later.

`PRAGMA user_version` holds the number of the last step. To change the schema,
add a step and nothing else.
"""

import sqlite3

from sqlite_utils import Database, Migrations

from daemon.store.errors import StoreDamaged, StoreVersion

# "CURE" in ASCII: marks the file as one of ours, so that no other is ever migrated.
APPLICATION_ID = 0x43555245

MIGRATIONS = Migrations("curehold")

# `frame` has a rowid, so that rows of all rigs are added at the end: keyed by
# (rig, seq) alone, eight rigs wrote 3.2 kB to the disk per frame instead of 1.6.
_FIRST = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    "CREATE TABLE rig (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT",
    "CREATE TABLE layout (key BLOB PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID",
    "CREATE TABLE limits (hash TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID",
    """CREATE TABLE run (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        rig INTEGER NOT NULL REFERENCES rig (id),
        number INTEGER NOT NULL,
        opened_seq INTEGER NOT NULL,
        opened_wall_ns INTEGER NOT NULL,
        closed_seq INTEGER,
        closed_wall_ns INTEGER,
        outcome TEXT,
        hold_s REAL,
        limits_hash TEXT NOT NULL REFERENCES limits (hash),
        rules_version TEXT NOT NULL,
        software_version TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX run_by_rig ON run (rig, opened_seq)",
    """CREATE TABLE frame (
        rig INTEGER NOT NULL,
        seq INTEGER NOT NULL,
        run INTEGER NOT NULL,
        t_ns INTEGER NOT NULL,
        wall_ns INTEGER NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (rig, seq)
    ) STRICT""",
    """CREATE TABLE event (
        rig INTEGER NOT NULL,
        seq INTEGER NOT NULL,
        n INTEGER NOT NULL,
        run INTEGER NOT NULL,
        kind TEXT NOT NULL,
        tag TEXT NOT NULL,
        state TEXT NOT NULL,
        wall_ns INTEGER NOT NULL,
        body BLOB NOT NULL,
        prev_hash BLOB NOT NULL,
        hash BLOB NOT NULL,
        PRIMARY KEY (rig, seq, n)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX event_by_kind ON event (kind, wall_ns)",
    """CREATE TABLE segment (
        rig INTEGER NOT NULL,
        first_seq INTEGER NOT NULL,
        last_seq INTEGER NOT NULL,
        run INTEGER NOT NULL,
        leaf_hash BLOB NOT NULL,
        notice TEXT,
        PRIMARY KEY (rig, first_seq)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE checkpoint (
        rig INTEGER NOT NULL,
        seq INTEGER NOT NULL,
        version TEXT NOT NULL,
        opening INTEGER NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (rig, seq)
    ) STRICT""",
    """CREATE TABLE outbox (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        dest TEXT NOT NULL,
        wall_ns INTEGER NOT NULL,
        topic TEXT NOT NULL,
        payload BLOB NOT NULL,
        retain INTEGER NOT NULL,
        message_id TEXT NOT NULL,
        UNIQUE (dest, message_id)
    ) STRICT""",
    """CREATE TABLE delivery (
        dest TEXT NOT NULL,
        seq INTEGER NOT NULL REFERENCES outbox (seq),
        state TEXT NOT NULL,
        attempts INTEGER NOT NULL,
        next_at_ns INTEGER NOT NULL,
        last_error TEXT NOT NULL,
        PRIMARY KEY (dest, seq)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX delivery_by_state ON delivery (dest, state, seq)",
    "PRAGMA user_version = 1",
)


@MIGRATIONS(name="0001_first_schema")
def _first_schema(db: Database) -> None:
    for statement in _FIRST:
        db.conn.execute(statement)


SCHEMA_VERSION = 1


def schema_version(connection: sqlite3.Connection) -> int:
    """The schema's number; 0 for a new, empty file.

    Raises:
        StoreDamaged: the file is a database, but not one of ours.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    # sqlite-utils makes its own table before the first step: a new file then, not a foreign one.
    tables = connection.execute(
        "SELECT count(*) FROM sqlite_master WHERE tbl_name != ?", (MIGRATIONS.migrations_table,)
    ).fetchone()[0]
    if application != APPLICATION_ID and (tables or version):
        raise StoreDamaged("is a database of another program; set another store path")
    return version


def migrate(
    connection: sqlite3.Connection,
    migrations: Migrations = MIGRATIONS,
    newest: int = SCHEMA_VERSION,
) -> tuple[int, int]:
    """Bring the schema up to date; on an error it stays as it was.

    Args:
        connection: in autocommit mode, the only writer.
        migrations: the steps.
        newest: number of the last step.

    Returns:
        The schema's number before and after.

    Raises:
        StoreVersion: a newer program made the store.
        StoreDamaged: the file is a database of another program.
    """
    before = schema_version(connection)
    if before > newest:
        raise StoreVersion(
            f"has schema {before}, made by a newer version; this one knows {newest}. "
            "Install the newer version again; the store was left as it is"
        )
    migrations.apply(Database(connection, execute_plugins=False))
    after = schema_version(connection)
    if after != newest:
        raise StoreDamaged(f"has schema {after} after all steps, not {newest}; keep the file")
    return before, after
