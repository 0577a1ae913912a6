"""The file: what it refuses, how it is opened, and how it gets up to date."""

from __future__ import annotations

import sqlite3
import stat
from contextlib import closing

import pytest
from tests.store.exams import first, following, opened, own

from brachium.store import schema
from brachium.store.connections import writer
from brachium.store.port import StoreUnavailable

CHANGES = [
    *(f"DELETE FROM {table}" for table in schema.KEPT),
    "UPDATE exam SET value = 'EX-9'",
    "UPDATE exam_version SET status = 'final'",
    "UPDATE exam_version SET content = x'00'",
    "UPDATE resource_version SET text = x'00'",
    "UPDATE member SET position = position + 10",
    "UPDATE audit SET entry = x'00'",
    "UPDATE audit SET hash = x'00'",
    "UPDATE checkpoint SET hash = ''",
    "UPDATE exam_version SET shown = ''",
    "INSERT OR REPLACE INTO exam SELECT pk, id, system, 'EX-9', organization FROM exam",
    "INSERT OR REPLACE INTO member SELECT exam_version, position, last, last FROM member",
]


@pytest.fixture
def rows(database):
    """A connection like the writer's own, to a file with an exam of two versions."""
    store = opened(database)
    store.add(first(), None)
    store.add(following(first(), (own("EX-1", "a"),)), 1)
    store.checkpoint(store.head())
    store.close()
    with closing(writer(database)) as db:
        yield db


def everything(db):
    return {table: db.execute(f"SELECT * FROM {table}").fetchall() for table in schema.KEPT}


@pytest.mark.parametrize("change", CHANGES)
def test_cor_02_nothing_stored_is_changed_or_deleted(rows, change):
    before = everything(rows)
    assert all(before.values())
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        rows.execute(change)
    assert everything(rows) == before


def test_exm_05_the_database_refuses_a_second_exam_with_the_same_identifier(rows):
    again = "INSERT INTO exam (id, system, value, organization) SELECT"
    with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
        rows.execute(f"{again} 'x', system, value, organization FROM exam")
    with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
        rows.execute(f"{again} id, 'x', value, organization FROM exam")


@pytest.mark.parametrize(
    "row",
    [
        "INSERT INTO member VALUES (99, 0, 1, 1)",
        "INSERT INTO member VALUES (1, 99, 1, 999)",
        "INSERT INTO resource_version VALUES (99, 'T', 'i', 1, 99, x'00')",
    ],
)
def test_no_row_refers_to_nothing(rows, row):
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        rows.execute(row)


def test_a_commit_is_on_the_disk(rows):
    assert rows.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert rows.execute("PRAGMA synchronous").fetchone() == (2,)
    assert rows.execute("PRAGMA foreign_keys").fetchone() == (1,)
    assert rows.execute("PRAGMA busy_timeout").fetchone()[0] >= 1000


def test_the_audit_holds_no_patient_data(rows):
    told = str(rows.execute("SELECT * FROM audit").fetchall())
    assert "EX-1" not in told.replace("id-EX-1", "")


def test_only_the_owner_can_read_the_file(database):
    opened(database).close()
    assert stat.S_IMODE(database.stat().st_mode) == 0o600


def test_everything_is_there_after_opening_again(database):
    store = opened(database)
    stored = store.add(first(), None).exam
    held = store.resources(stored.id)
    store.close()
    store = opened(database)
    assert (store.exam(stored.id), store.resources(stored.id)) == (stored, held)
    store.close()


def test_a_file_of_a_newer_version_is_refused_and_left_alone(database):
    with closing(sqlite3.connect(database)) as db:
        db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    with pytest.raises(StoreUnavailable, match="version"):
        opened(database)
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("SELECT count(*) FROM sqlite_schema").fetchone() == (0,)


def test_a_file_of_something_else_is_refused_and_left_alone(database):
    with closing(sqlite3.connect(database)) as db:
        db.execute("CREATE TABLE other (x)")
    with pytest.raises(StoreUnavailable, match="something else"):
        opened(database)
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("SELECT name FROM sqlite_schema").fetchall() == [("other",)]


def test_a_step_forward_keeps_what_is_stored(database, monkeypatch):
    store = opened(database)
    stored = store.add(first(), None).exam
    store.close()
    more = [*schema.STEPS, lambda db: db.execute("CREATE TABLE more (x)")]
    monkeypatch.setattr(schema, "STEPS", tuple(more))
    monkeypatch.setattr(schema, "VERSION", len(more))
    store = opened(database)
    assert store.exam(stored.id) == stored
    store.close()
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(more),)
        assert db.execute("SELECT count(*) FROM more").fetchone() == (0,)


def test_a_step_that_fails_changes_nothing(database, monkeypatch):
    opened(database).close()

    def broken(db):
        db.execute("CREATE TABLE more (x)")
        raise sqlite3.OperationalError

    before = schema.VERSION
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS, broken))
    monkeypatch.setattr(schema, "VERSION", before + 1)
    with pytest.raises(StoreUnavailable):
        opened(database)
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (before,)
        assert not db.execute("SELECT 1 FROM sqlite_schema WHERE name = 'more'").fetchone()


@pytest.mark.parametrize("version", [1, 2, 3])
def test_a_file_of_the_time_before_the_first_release_is_refused(database, version):
    opened(database).close()
    with closing(sqlite3.connect(database)) as db:
        for step, names in ((3, ()), (2, ("secret",)), (1, ("client", "export_job"))):
            if version <= step:
                for name in names:
                    db.execute(f"DROP TABLE {name}")
        db.execute("DROP TABLE seen")
        db.execute(f"PRAGMA user_version = {version}")
    with pytest.raises(StoreUnavailable):
        opened(database)


def test_a_file_of_the_last_draft_is_brought_up_to_date(database):
    opened(database).close()
    with closing(sqlite3.connect(database)) as db:
        db.execute("PRAGMA user_version = 3")
    opened(database).close()
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)


def test_there_is_a_step_to_every_version():
    assert len(schema.STEPS) == schema.VERSION


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(StoreUnavailable):
        opened(tmp_path / "nowhere" / "exams.sqlite3")


def test_a_file_that_is_no_database_is_refused_and_left_alone(database):
    database.write_bytes(b"something else" * 999)
    with pytest.raises(StoreUnavailable):
        opened(database)
    assert database.read_bytes() == b"something else" * 999
