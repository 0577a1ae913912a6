"""Nobody changes what was stored, or what the audit tells of it, without being found out."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.store.exams import at, first, following, opened, own, wanted

from brachium.records import AuditEntry, AuditHead
from brachium.security.heads import is_signed, new_key, read_key, signed
from brachium.store.criteria import Criterion, Order, Period, Search
from brachium.store.schema import KEPT

KEY = read_key(new_key())


def is_ours(head):
    return is_signed(head, KEY)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A file with exams in several versions, reads, and a checkpoint in the middle."""
    path = tmp_path_factory.mktemp("chain") / "s.sqlite3"
    store = opened(path)
    for number in range(3):
        one = first(f"EX-{number}")
        store.add(one, None)
        two = following(one, (one.resources[0], own(f"EX-{number}", "a", b'{"n":2}', 2)))
        store.add(two, 1)
        store.record(AuditEntry(at(number), "read", "done", patients=("Patient/p",)))
    store.checkpoint(signed(store.head(), KEY))
    store.record(AuditEntry(at(9), "search-type", "refused", reason="scope"))
    head = signed(store.head(), KEY)
    store.search(wanted("Observation"), 1)
    store.close()
    return path, head


def found(path, kept=None):
    store = opened(path)
    try:
        return list(store.breaks(is_ours, kept))
    finally:
        store.close()


@pytest.fixture
def file(written, tmp_path):
    """A copy that a test may tamper with, and its head."""
    path, head = written
    copy = tmp_path / "s.sqlite3"
    with closing(sqlite3.connect(path)) as db, closing(sqlite3.connect(copy)) as other:
        db.backup(other)
    return copy, head


def tamper(path, *statements):
    """Change the file behind the back of the triggers, as somebody with its bytes could."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("PRAGMA ignore_check_constraints = ON")
        for table in KEPT:
            for event in ("UPDATE", "DELETE"):
                db.execute(f"DROP TRIGGER {table}_never_{event}")
        for statement, *values in statements:
            db.execute(statement, values)


def test_aud_07_what_nobody_touched_is_as_it_was_written(file):
    path, head = file
    assert found(path) == []
    assert found(path, head) == []


@pytest.mark.parametrize("table", KEPT)
@pytest.mark.parametrize("change", ["UPDATE {} SET rowid = rowid", "DELETE FROM {}"])
def test_aud_08_the_database_itself_refuses_to_change_what_is_kept(file, table, change):
    if table in ("member", "checkpoint") and "rowid" in change:
        change = "UPDATE {} SET " + ("position = position" if table == "member" else "at = at")
    with closing(sqlite3.connect(file[0])) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(change.format(table))


# every column of every kept table that says something
COLUMNS = {
    "exam": ("id", "system", "value"),
    "exam_version": (
        "version", "status", "recorded", "digest", "edition", "reason", "shown", "problems",
        "assessment", "content",
    ),
    "resource_version": ("type", "id", "version", "text"),
    "member": ("first", "last"),
    "audit": ("at", "entry", "hash"),
    "checkpoint": ("hash", "signature"),
}  # fmt: skip
PLACES = [(table, column) for table, columns in COLUMNS.items() for column in columns]


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(PLACES), st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 255))
def test_aud_07_a_byte_changed_anywhere_is_found(file, tmp_path, place, row, where, how):
    table, column = place
    path, _ = file
    copy = tmp_path / "changed.sqlite3"
    shutil.copy(path, copy)
    with closing(sqlite3.connect(copy)) as db:
        values = db.execute(f"SELECT {column} FROM {table}").fetchall()
        keys = "position, exam_version" if table == "member" else "number, at"
        keys = keys if table in ("member", "checkpoint") else "rowid, rowid"
        places = db.execute(f"SELECT {keys} FROM {table}").fetchall()
    number = row % len(values)
    (value,), key = values[number], places[number]
    changed = twisted(value, where, how)
    if changed == value:
        return
    names = keys.split(", ")
    which = f"{names[0]} = ? AND {names[1]} = ?"
    try:
        tamper(copy, (f"UPDATE {table} SET {column} = ? WHERE {which}", changed, *key))
    except sqlite3.IntegrityError:
        return  # a change that the database refuses even so
    assert found(copy), (table, column, value, changed)


def twisted(value, where, how):
    """The value with one byte changed; a number with another number."""
    if isinstance(value, int):
        return value + 10 + how
    data = bytearray(value if isinstance(value, bytes) else value.encode())
    if not data:
        return b"x" if isinstance(value, bytes) else "x"
    data[where % len(data)] ^= how % 127 + 1 if isinstance(value, bytes) else 1
    return bytes(data) if isinstance(value, bytes) else data.decode()


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from([table for table in KEPT if table not in ("checkpoint", "exam")]),
    st.integers(0, 10**6),
)
def test_aud_07_a_row_removed_anywhere_is_found(file, tmp_path, table, row):
    path, head = file
    copy = tmp_path / "removed.sqlite3"
    shutil.copy(path, copy)
    keys = "position, exam_version" if table == "member" else "rowid, rowid"
    with closing(sqlite3.connect(copy)) as db:
        places = db.execute(f"SELECT {keys} FROM {table}").fetchall()
    key, names = places[row % len(places)], keys.split(", ")
    tamper(copy, (f"DELETE FROM {table} WHERE {names[0]} = ? AND {names[1]} = ?", *key))
    assert found(copy, head), (table, key)


@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.integers(1, 10), st.integers(1, 10))
def test_aud_07_entries_in_another_order_are_found(file, tmp_path, one, other):
    path, _ = file
    copy = tmp_path / "moved.sqlite3"
    shutil.copy(path, copy)
    if one == other:
        return
    tamper(
        copy,
        ("UPDATE audit SET number = -1 WHERE number = ?", one),
        ("UPDATE audit SET number = ? WHERE number = ?", one, other),
        ("UPDATE audit SET number = ? WHERE number = -1", other),
    )
    assert found(copy)


@pytest.mark.parametrize("table", ["audit", "exam_version", "resource_version", "member", "exam"])
def test_aud_07_a_row_put_in_is_found(file, table):
    path, _ = file
    with closing(sqlite3.connect(path)) as db:
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    new = {
        "pk": 900,
        "number": 11,
        "id": "'put-in'",
        "value": "'put-in'",
        "version": 9,
        "position": 9,
    }
    shown = ", ".join(str(new.get(one, one)) for one in columns)
    tamper(path, (f"INSERT INTO {table} SELECT {shown} FROM {table} LIMIT 1",))
    assert found(path)


def test_aud_12_only_a_head_kept_elsewhere_shows_that_the_end_is_gone(file):
    path, head = file
    tamper(path, ("DELETE FROM audit WHERE number = (SELECT max(number) FROM audit)",))
    assert found(path) == []
    assert "missing" in found(path, head)[0].what


def test_aud_12_a_chain_written_anew_differs_from_the_head(file):
    path, head = file
    other = replace(head, hash="0" * 64)
    assert found(path, signed(other, KEY))[0].number == head.number


def test_aud_12_a_signature_of_somebody_else_does_not_hold(file):
    path, head = file
    assert is_signed(head, KEY)
    assert not is_signed(head, read_key(new_key()))
    assert not is_signed(replace(head, number=head.number + 1), KEY)
    assert not is_signed(AuditHead(1, "0" * 64, at(0), "no.such.signature"), KEY)
    forged = signed(head, read_key(new_key()))
    values = (forged.number, forged.at, forged.hash, forged.signature)
    tamper(
        path, ("INSERT INTO checkpoint (number, at, hash, signature) VALUES (?, ?, ?, ?)", *values)
    )
    assert [one.what for one in found(path)] == ["the signature of a checkpoint does not hold"]


def test_aud_09_the_trail_is_searched_like_everything_else(store):
    for number in range(7):
        patient = (f"Patient/{number % 2}",)
        store.record(AuditEntry(at(number), "read", "done", patients=patient))
    asked = wanted("AuditEvent", ("patient", "Patient/1"))
    page = store.search(asked, 2)
    store.record(AuditEntry(at(9), "read", "done", patients=("Patient/1",)))
    seen = [row.id for row in page.rows]
    assert (page.total, seen) == (3, ["audit-6", "audit-4"])
    page = store.search(asked, 2, page.at, page.last)
    assert ([row.id for row in page.rows], page.has_next) == (["audit-2"], False)
    page = store.search(asked, 2, page.at, before=page.first)
    assert [row.id for row in page.rows] == ["audit-6", "audit-4"]
    since = Criterion(("date",), (Period("ge", at(5), at(5)),))
    oldest = Search("AuditEvent", (since,), (Order("date"),))
    assert [row.id for row in store.search(oldest, 9).rows] == ["audit-6", "audit-7", "audit-8"]
    assert store.read("AuditEvent", "audit-3").updated == at(2)
    assert store.read("AuditEvent", "audit-99") is None
    assert store.read("AuditEvent", "audit-3", 2) is None
    assert store.history("AuditEvent", "audit-3").total == 1
    assert store.history("AuditEvent", since=at(4)).total == 4
