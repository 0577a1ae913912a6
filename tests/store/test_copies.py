"""Backup and restore: a copy holds everything, and nothing is overwritten or taken damaged."""

from __future__ import annotations

import hashlib
import sqlite3
import stat
from contextlib import closing

import pytest
from tests.api.serving import Serving, example, raw_example

from brachium.cli.parser import main
from brachium.store.copies import UnfitCopy, backup, damage, digest_file, examined, restore
from brachium.store.port import StoreUnavailable

TABLES = ("exam", "exam_version", "resource_version", "member", "audit", "client", "search")


@pytest.fixture
def database(tmp_path):
    path = tmp_path / "exams.sqlite3"
    with Serving(path) as serving:
        for name in ("stiff-shoulder", "draft"):
            assert serving.post("/exams", raw_example(name)).status_code == 201
        yield path, serving


def contents(path):
    with closing(sqlite3.connect(path)) as db:
        return {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in TABLES}


def test_a_backup_of_a_running_service_is_restored_with_everything(database, tmp_path):
    path, serving = database
    before = serving.get("/exams.csv").content
    copy, again = tmp_path / "copies" / "exams.copy", tmp_path / "restored.sqlite3"
    copy.parent.mkdir()
    made = backup(path, copy)
    assert (made.exams, made.exam_versions) == (2, 2)
    assert made.resource_versions > 80
    # what comes later is not in it, and does not disturb it
    assert serving.post("/exams", raw_example("healthy-adult")).status_code == 201
    restored = restore(copy, again)
    assert (restored.exams, restored.resource_versions) == (2, made.resource_versions)
    assert contents(again) == contents(copy)
    assert len(contents(path)["exam"]) == 3
    with Serving(again) as other:
        assert other.get("/exams.csv").content == before
        assert other.get("/ready").status_code == 200
        # and the exams are known: the same one again is found, another is taken
        assert other.post("/exams", raw_example("draft")).status_code == 200
        assert other.post("/exams", raw_example("child")).status_code == 201
    for one in (copy, again):
        assert stat.S_IMODE(one.stat().st_mode) == 0o600


def test_the_digest_is_the_one_that_common_tools_read(database, tmp_path):
    copy = tmp_path / "copy"
    backup(database[0], copy)
    expected = hashlib.sha256(copy.read_bytes()).hexdigest()
    assert digest_file(copy).read_text() == f"{expected}  copy\n"
    assert not [one for one in tmp_path.iterdir() if "unfinished" in one.name]


def test_nothing_is_ever_overwritten(database, tmp_path):
    path, _ = database
    copy = tmp_path / "copy"
    backup(path, copy)
    kept = copy.read_bytes()
    with pytest.raises(UnfitCopy, match="not overwritten"):
        backup(path, copy)
    with pytest.raises(UnfitCopy, match="not overwritten"):
        restore(copy, path)
    for ending in ("-wal", "-shm"):
        target = tmp_path / "new.sqlite3"
        target.with_name(target.name + ending).write_bytes(b"left over")
        with pytest.raises(UnfitCopy, match="not overwritten"):
            restore(copy, target)
        assert not target.exists()
        target.with_name(target.name + ending).unlink()
    assert copy.read_bytes() == kept


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.77, 0.999999])
def test_a_byte_changed_anywhere_is_found_before_anything_is_restored(database, tmp_path, share):
    copy, target = tmp_path / "copy", tmp_path / "new.sqlite3"
    backup(database[0], copy)
    text = bytearray(copy.read_bytes())
    place = int(share * len(text))
    text[place] ^= 1
    copy.write_bytes(text)
    with pytest.raises(UnfitCopy, match="is not the file"):
        restore(copy, target)
    assert not target.exists()


def test_damage_with_a_digest_to_match_is_found_too(database, tmp_path):
    copy, target = tmp_path / "copy", tmp_path / "new.sqlite3"
    backup(database[0], copy)
    text = bytearray(copy.read_bytes())
    text[8192 * 3 : 8192 * 5] = b"\xff" * 8192 * 2
    copy.write_bytes(text)
    digest_file(copy).write_text(f"{hashlib.sha256(text).hexdigest()}  copy\n")
    with pytest.raises(UnfitCopy, match="damaged"):
        restore(copy, target)
    assert not target.exists()


def test_an_index_that_lost_an_entry_is_damage(database, tmp_path):
    copy = tmp_path / "copy"
    backup(database[0], copy)
    with closing(sqlite3.connect(copy)) as db:
        assert damage(db) == []
        root = "SELECT rootpage FROM sqlite_schema WHERE name = 'by_origin'"
        (page,) = db.execute(root).fetchone()
        db.execute("PRAGMA writable_schema = ON")
        other = "SELECT rootpage FROM sqlite_schema WHERE name = 'by_time'"
        (wrong,) = db.execute(other).fetchone()
        assert page != wrong
        change = "UPDATE sqlite_schema SET rootpage = ? WHERE name = 'by_origin'"
        db.execute(change, (wrong,))
        db.commit()
    with closing(sqlite3.connect(copy)) as db:
        assert damage(db)


@pytest.mark.parametrize("content", [b"", b"no database at all, only text" * 50])
def test_what_is_no_database_of_ours_is_refused(tmp_path, content):
    copy = tmp_path / "copy"
    copy.write_bytes(content)
    with pytest.raises((UnfitCopy, StoreUnavailable)):
        examined(copy)
    with pytest.raises(UnfitCopy, match="both needed"):
        restore(copy, tmp_path / "new.sqlite3")
    with pytest.raises(UnfitCopy, match="no such database"):
        backup(tmp_path / "nothing", tmp_path / "other")


def test_the_commands_say_what_was_copied(database, tmp_path, capsys):
    path, _ = database
    copy, again = str(tmp_path / "copy"), str(tmp_path / "again.sqlite3")
    assert main(["backup", copy, "--database", str(path)]) == 0
    assert "2 exams in 2 versions" in capsys.readouterr().out
    assert main(["restore", copy, "--database", again]) == 0
    assert "undamaged" in capsys.readouterr().out
    assert main(["restore", copy, "--database", again]) == 1
    assert "not overwritten" in capsys.readouterr().err
    assert main(["backup", str(tmp_path / "no" / "where"), "--database", str(path)]) == 1


def test_the_trail_in_a_copy_holds_and_tells_of_the_copy(database, tmp_path, capsys):
    path, serving = database
    serving.parts.heads.checkpoint()
    copy, again = tmp_path / "copy", tmp_path / "again.sqlite3"
    assert main(["backup", str(copy), "--database", str(path)]) == 0
    key = path.with_name(path.name + ".audit-key.json")
    again.with_name(again.name + ".audit-key.json").write_bytes(key.read_bytes())
    assert main(["restore", str(copy), "--database", str(again)]) == 0
    assert "all as written" in capsys.readouterr().out
    with Serving(again) as other:
        assert other.parts.store.audit()[-1].entry.reason == "backup"


def test_a_trail_that_was_altered_is_told_when_it_is_restored(database, tmp_path, capsys):
    path, _ = database
    copy, again = tmp_path / "copy", tmp_path / "again.sqlite3"
    backup(path, copy)
    with closing(sqlite3.connect(copy)) as db:
        for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'"):
            if name.startswith("resource_version"):
                db.execute(f"DROP TRIGGER {name}")
        change = "UPDATE resource_version SET text = CAST(text || ' ' AS BLOB) WHERE pk = 20"
        assert db.execute(change).rowcount == 1
        db.commit()
    digest_file(copy).write_text(f"{hashlib.sha256(copy.read_bytes()).hexdigest()}  copy\n")
    key = path.with_name(path.name + ".audit-key.json")
    again.with_name(again.name + ".audit-key.json").write_bytes(key.read_bytes())
    assert main(["restore", str(copy), "--database", str(again)]) == 1
    assert "BROKEN" in capsys.readouterr().out


def test_patient_data_is_in_no_message(database, tmp_path, capsys):
    main(["backup", str(tmp_path / "copy"), "--database", str(database[0])])
    told = capsys.readouterr()
    exam = example("stiff-shoulder")
    for word in (exam["identifier"]["value"], exam["patient"]["identifier"]["value"]):
        assert word not in told.out + told.err
