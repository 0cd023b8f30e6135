"""Opening: one writer only, old schemas brought up to date, others left alone."""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from sqlite_utils import Database, Migrations

from daemon.store import (
    Store,
    StoreDamaged,
    StoreError,
    StoreLocked,
    StoreMissing,
    StoreReader,
    StoreVersion,
)
from daemon.store.migrations import MIGRATIONS, SCHEMA_VERSION, migrate, schema_version
from tests.store_samples import RIG, alarm, decision, frame, opened, opened_store


def _connect(path: Path) -> "closing[sqlite3.Connection]":
    return closing(sqlite3.connect(path, isolation_level=None))


async def test_a_second_daemon_is_told_who_holds_the_store(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    async with opened_store(path) as store:
        with pytest.raises(StoreLocked, match=rf"process {os.getpid()}\).*stop that one"):
            await Store.open(path)
        store.append(RIG, frame(1), decision())
        await store.flush()
    async with opened_store(path) as store:
        assert store.durable_seq(RIG) == 1


async def test_a_failed_opening_lets_go_of_the_lock(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    path.write_bytes(b"no database at all, but a text that is long enough" * 50)
    for _ in range(2):
        with pytest.raises(StoreDamaged, match="move the file"):
            await Store.open(path)
    path.unlink()
    async with opened_store(path):
        pass


async def test_a_newer_schema_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    async with opened_store(path):
        pass
    with _connect(path) as connection:
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = path.read_bytes()
    newer = rf"store.db: has schema {SCHEMA_VERSION + 1}"
    with pytest.raises(StoreVersion, match=newer + ", made by a newer version"):
        await Store.open(path)
    with pytest.raises(StoreVersion, match=newer):
        StoreReader(path).runs()
    assert path.read_bytes() == before


async def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with _connect(path) as connection:
        connection.execute("CREATE TABLE invoice (number INTEGER)")
    before = path.read_bytes()
    with pytest.raises(StoreDamaged, match=r"other.db: is a database of another program"):
        await Store.open(path)
    with pytest.raises(StoreDamaged, match=r"other.db: is a database of another program"):
        StoreReader(path).runs()
    assert path.read_bytes() == before


def _only_begun(path: Path) -> None:
    """As sqlite-utils leaves a new file before our first step."""
    with _connect(path) as connection:
        MIGRATIONS.ensure_migrations_table(Database(connection))


def _empty(path: Path) -> None:
    path.touch()


@pytest.mark.parametrize("made", [_empty, _only_begun])
async def test_a_store_that_is_just_being_made_is_told_as_such(
    tmp_path: Path, made: Callable[[Path], None]
) -> None:
    path = tmp_path / "store.db"
    made(path)
    with pytest.raises(StoreVersion, match=r"store.db: is only just being made; try again in a"):
        StoreReader(path).runs()
    async with opened_store(path):
        assert StoreReader(path).runs() == []


async def test_a_table_of_steps_does_not_make_another_programs_database_ours(
    tmp_path: Path,
) -> None:
    path = tmp_path / "other.db"
    _only_begun(path)
    with _connect(path) as connection:
        connection.execute("CREATE TABLE invoice (number INTEGER)")
    before = path.read_bytes()
    with pytest.raises(StoreDamaged, match=r"other.db: is a database of another program"):
        await Store.open(path)
    with pytest.raises(StoreDamaged, match=r"other.db: is a database of another program"):
        StoreReader(path).runs()
    assert path.read_bytes() == before


def test_a_reader_needs_a_store(tmp_path: Path) -> None:
    with pytest.raises(StoreMissing, match="there is no store"):
        StoreReader(tmp_path / "store.db").runs()
    assert not (tmp_path / "store.db").exists()


async def test_a_reader_cannot_write(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "store.db"):
        reader = StoreReader(tmp_path / "store.db")
        with (
            pytest.raises(StoreError, match="readonly"),
            reader._open() as connection,
        ):
            connection.execute("DELETE FROM rig")


async def test_the_directory_is_made_when_missing(tmp_path: Path) -> None:
    async with opened_store(tmp_path / "a" / "b" / "store.db"):
        pass
    assert (tmp_path / "a" / "b" / "store.db").exists()


async def test_a_place_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a directory")
    with pytest.raises(StoreError, match="give this user the right to write there"):
        await Store.open(tmp_path / "file" / "store.db")


def _old_and_new() -> tuple[Migrations, Migrations]:
    """Our steps, and the same with one more that a later version might bring."""
    old, new = Migrations("curehold"), Migrations("curehold")
    for steps in (old, new):
        for step in MIGRATIONS._migrations:
            steps(name=step.name)(step.fn)

    @new(name="9999_run_gets_a_note")
    def note(db: Database) -> None:
        db.conn.execute("ALTER TABLE run ADD COLUMN note TEXT NOT NULL DEFAULT ''")
        db.conn.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")

    return old, new


async def test_an_older_schema_is_brought_up_to_date_and_keeps_its_rows(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    async with opened_store(path) as store:
        store.append(RIG, frame(1), decision(opened(1), alarm(), run=1))
    _, new = _old_and_new()
    with _connect(path) as connection:
        steps = migrate(connection, new, SCHEMA_VERSION + 1)
        assert steps == (SCHEMA_VERSION, SCHEMA_VERSION + 1)
        assert connection.execute("SELECT number, note FROM run").fetchall() == [(1, "")]
        assert connection.execute("SELECT count(*) FROM event").fetchone() == (2,)
        again = migrate(connection, new, SCHEMA_VERSION + 1)
        assert again == (SCHEMA_VERSION + 1, SCHEMA_VERSION + 1)


def test_a_new_file_goes_through_every_step(tmp_path: Path) -> None:
    with _connect(tmp_path / "store.db") as connection:
        assert schema_version(connection) == 0
        assert migrate(connection) == (0, SCHEMA_VERSION)
        names = [step.name for step in MIGRATIONS.applied(Database(connection))]
    assert names == [step.name for step in MIGRATIONS._migrations]
    assert [int(name.partition("_")[0]) for name in names] == list(range(1, SCHEMA_VERSION + 1))


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    _, new = _old_and_new()

    @new(name="99999_fails")
    def fails(db: Database) -> None:
        db.conn.execute("DROP TABLE event")
        db.conn.execute("SELECT * FROM no_such_table")

    with _connect(tmp_path / "store.db") as connection:
        migrate(connection)
        with pytest.raises(sqlite3.OperationalError, match="no_such_table"):
            migrate(connection, new, SCHEMA_VERSION + 2)
        # The step before it stands; the one that failed left no trace.
        assert schema_version(connection) == SCHEMA_VERSION + 1
        assert connection.execute("SELECT count(*) FROM event").fetchone() == (0,)


def test_every_step_lifts_the_schema_by_one(tmp_path: Path) -> None:
    with _connect(tmp_path / "store.db") as connection:
        for number, step in enumerate(MIGRATIONS._migrations, start=1):
            step.fn(Database(connection))
            assert schema_version(connection) == number
