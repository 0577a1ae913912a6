"""Nobody changes what was stored, or what the audit tells of it, without being found out."""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.exams import at, first, following, opened, own, wanted

from brachium.records import AuditEntry, AuditHead
from brachium.security.heads import is_signed, new_key, read_key, signed
from brachium.store.chain import BEGINNING, link
from brachium.store.criteria import Criterion, Order, Period, Search
from brachium.store.schema import KEPT, migrate
from brachium.store.verifying import breaks

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
        tamper_with(db, *statements)


def tamper_with(db, *statements):
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("PRAGMA ignore_check_constraints = ON")
    for table in KEPT:
        for event in ("UPDATE", "DELETE"):
            db.execute(f"DROP TRIGGER {table}_never_{event}")
    for statement, *values in statements:
        db.execute(statement, values)


@contextmanager
def in_memory(path):
    """A copy in memory, which is faster to try many changes on."""
    with (
        closing(sqlite3.connect(path)) as file,
        closing(sqlite3.connect(":memory:", isolation_level=None)) as db,
    ):
        file.backup(db)
        yield db


def key_of(table):
    """The columns by which rows of a kept table are told apart."""
    keys = {"member": ("exam_version", "position"), "checkpoint": ("number", "at")}
    return keys.get(table, ("rowid",))


def place_of(db, table, row):
    """One of the rows: a condition, and the values for it."""
    key = key_of(table)
    places = db.execute(f"SELECT {', '.join(key)} FROM {table}").fetchall()
    return " AND ".join(f"{name} = ?" for name in key), places[row % len(places)]


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


def every_place():
    """Every column of every kept table, whatever is added to them later."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        migrate(db)
        return [
            (table, row[1])
            for table in KEPT
            for row in db.execute(f"PRAGMA table_info({table})").fetchall()
        ]


PLACES = every_place()


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(PLACES), st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 255))
def test_aud_07_a_byte_changed_anywhere_is_found(written, place, row, where, how):
    table, column = place
    with in_memory(written[0]) as db:
        which, key = place_of(db, table, row)
        query = f"SELECT {column} FROM {table} WHERE {which}"
        (value,) = db.execute(query, key).fetchone()
        changed = twisted(value, where, how)
        try:
            tamper_with(db, (f"UPDATE {table} SET {column} = ? WHERE {which}", changed, *key))
        except sqlite3.IntegrityError:
            return  # a change that the database refuses even so
        assert list(breaks(db, is_ours)), (table, column, value, changed)


def twisted(value, where, how):
    """The value with one byte changed; a number with another number."""
    if isinstance(value, int):
        return value + 10 + how
    data = bytearray(value if isinstance(value, bytes) else value.encode())
    if not data:
        return b"x" if isinstance(value, bytes) else "x"
    data[where % len(data)] ^= how % 127 + 1 if isinstance(value, bytes) else 1
    return bytes(data) if isinstance(value, bytes) else data.decode()


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(KEPT),
    st.integers(0, 10**6),
)
def test_aud_07_a_row_removed_anywhere_is_found(written, table, row):
    path, head = written
    with in_memory(path) as db:
        which, key = place_of(db, table, row)
        tamper_with(db, (f"DELETE FROM {table} WHERE {which}", *key))
        assert list(breaks(db, is_ours, head)), (table, key)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 10), st.integers(1, 10))
def test_aud_07_entries_in_another_order_are_found(written, one, other):
    with in_memory(written[0]) as db:
        tamper_with(
            db,
            ("UPDATE audit SET number = -1 WHERE number = ?", one),
            ("UPDATE audit SET number = ? WHERE number = ?", one, other),
            ("UPDATE audit SET number = ? WHERE number = -1", other),
        )
        assert bool(list(breaks(db, is_ours))) is (one != other)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 9), st.integers(1, 9))
def test_aud_07_resources_in_another_order_are_found(written, one, other):
    with in_memory(written[0]) as db:
        texts = "SELECT text FROM resource_version WHERE pk = ?"
        (first_text,), (other_text,) = (
            db.execute(texts, (key,)).fetchone() for key in (one, other)
        )
        change = "UPDATE resource_version SET text = ? WHERE pk = ?"
        tamper_with(db, (change, other_text, one), (change, first_text, other))
        assert bool(list(breaks(db, is_ours))) is (first_text != other_text)


@pytest.mark.parametrize("table", ["audit", "exam_version", "resource_version", "member", "exam"])
def test_aud_07_a_row_put_in_is_found(file, table):
    path, _ = file
    with closing(sqlite3.connect(path)) as db:
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    new = {
        "pk": 900,
        "number": 12,
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
    assert [one.what for one in found(path)] == [
        "no entry tells of a checkpoint at this one",
        "the signature of a checkpoint does not hold",
    ]


def test_aud_12_a_checkpoint_is_told_and_cannot_be_taken_away(file):
    path, head = file
    store = opened(path)
    kept = signed(store.head(), KEY)
    store.checkpoint(kept)
    store.checkpoint(kept)
    last = store.audit()[-1]
    assert (last.number, last.entry.action) == (head.number + 1, "checkpoint")
    assert store.checkpointed() == head.number
    store.close()
    assert found(path) == []
    tamper(path, ("DELETE FROM checkpoint WHERE number = ?", head.number))
    assert [one.number for one in found(path)] == [head.number + 1]


@pytest.mark.parametrize("number", [1, 5, 9])
def test_aud_07_an_entry_written_anew_with_its_own_hash_breaks_the_next(written, number):
    with in_memory(written[0]) as db:
        links = dict(db.execute("SELECT number, hash FROM audit"))
        (text,) = db.execute("SELECT entry FROM audit WHERE number = ?", (number,)).fetchone()
        text = text.replace(b'"reason":""', b'"reason":"x"')
        forged = link(number, links.get(number - 1, BEGINNING), text)
        change = "UPDATE audit SET entry = ?, hash = ? WHERE number = ?"
        tamper_with(db, (change, text, forged, number))
        broken = [one.number for one in breaks(db, is_ours)]
        # a checkpoint is about the ninth and says so itself
        assert broken[:1] == [9 if number == 9 else number + 1]


def test_aud_07_nothing_moves_from_one_field_to_the_next_unseen(file):
    path, _ = file
    to_the_right = (
        "system = substr(system, 1, length(system) - 1), value = substr(system, -1) || value"
    )
    tamper(path, (f"UPDATE exam SET {to_the_right} WHERE pk = 1",))
    assert len(found(path)) == 2


@pytest.mark.parametrize("way", ["DELETE FROM resource_id WHERE version = 2", "VACUUM"])
def test_aud_07_what_can_no_longer_be_found_counts_as_gone(file, way):
    path, _ = file
    tamper(path, (way,))
    assert bool(found(path)) is ("DELETE" in way)


def test_aud_07_the_first_broken_link_comes_first_and_the_others_are_named_too(file):
    path, _ = file
    tamper(
        path,
        ("UPDATE audit SET entry = x'7b7d' WHERE number IN (3, 6)",),
        (("UPDATE resource_version SET text = x'7b7d' WHERE pk = (SELECT max(pk) FROM member,"
         " resource_version WHERE pk BETWEEN first AND last)"),),
    )  # fmt: skip
    numbers = [one.number for one in found(path)]
    assert numbers[0] == 3
    assert {3, 6} < set(numbers)


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
