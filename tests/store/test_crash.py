"""kill -9 in the middle of writing: what was told to be stored is there, and nothing is half."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

from tests.store import crash_writer
from tests.store.exams import opened, wanted

from brachium.store.copies import damage

ROOT = Path(__file__).resolve().parents[2]
KILLS = 12


def told_before_the_kill(database, run, moment):
    """Start the writer, kill it at some moment after its first word, return what it told."""
    command = [sys.executable, "-m", crash_writer.__name__, str(database), str(run)]
    child = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    try:
        first = child.stdout.readline()
        time.sleep(moment)
    finally:
        child.send_signal(signal.SIGKILL)
    rest = child.stdout.read()
    assert child.wait() == -signal.SIGKILL
    child.stdout.close()
    # a last line without an end was cut off by the kill
    lines = (first + rest).split("\n")[:-1]
    return [(name, int(version), int(count)) for name, version, count in map(str.split, lines)]


def test_kill_9_loses_nothing_that_was_told_and_leaves_nothing_half(database):
    moments = random.Random(7)
    told = []
    for run in range(KILLS):
        told += told_before_the_kill(database, run, moments.uniform(0, 0.3))
        with closing(sqlite3.connect(database)) as db:
            assert damage(db) == []
            assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    assert len(told) > 10 * KILLS
    store = opened(database)
    missing = [one for one in told if len(store.resources(one[0], one[1])) != one[2]]
    assert missing == []
    check_everything(store, database)
    store.close()


def check_everything(store, database):
    """Every exam version there is, told or not, has all its resources, and all are found."""
    with closing(sqlite3.connect(database)) as db:
        versions = db.execute("SELECT id, version, value FROM stored_exam").fetchall()
    assert versions
    for exam_id, version, name in versions:
        number = int(name.rsplit("-", 1)[1])
        expected = 1 + 12 + number % 40 if version == 1 else 3
        rows = store.resources(exam_id, version)
        assert len(rows) == expected
        assert all(row.text.endswith(b"}") for row in rows)
        last = rows[-1]
        assert store.read(last.type, last.id, last.version) == last
    people = sum(1 for _, version, _ in versions if version == 1)
    assert store.search(wanted("Patient"), 1).total == people
    assert len(store.audit(count=10**6)) == len(versions)
