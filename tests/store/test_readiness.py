"""The service says that it is ready only while an exam could be kept."""

from __future__ import annotations

import resource
import signal
import sqlite3

from tests.api.serving import Serving, raw_example


def statuses(serving):
    return serving.get("/live").status_code, serving.get("/ready").status_code


def test_ops_02_not_ready_while_another_process_holds_the_lock(tmp_path):
    path = tmp_path / "exams.sqlite3"
    with Serving(path) as serving:
        assert statuses(serving) == (200, 200)
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        assert statuses(serving) == (200, 503)
        other.execute("ROLLBACK")
        other.close()
        assert statuses(serving) == (200, 200)


def test_ops_02_not_ready_when_the_file_was_moved_or_replaced(tmp_path):
    path, away = tmp_path / "exams.sqlite3", tmp_path / "away.sqlite3"
    with Serving(path) as serving:
        path.rename(away)
        # SQLite would write on, into a file that nobody looks for
        assert statuses(serving) == (200, 503)
        path.write_bytes(b"")
        assert statuses(serving) == (200, 503)
        path.unlink()
        away.rename(path)
        assert statuses(serving) == (200, 200)


def test_ops_02_not_ready_when_the_disk_takes_no_more(tmp_path):
    path = tmp_path / "exams.sqlite3"
    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Serving(path) as serving:
        assert serving.post("/exams", raw_example("draft")).status_code == 201
        handled = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (16, most))
        try:
            assert statuses(serving) == (200, 503)
            assert serving.post("/exams", raw_example("child")).status_code == 503
            # nothing is shown that the audit cannot tell of (AUD-11)
            assert serving.get("/exams.csv").status_code == 503
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
            signal.signal(signal.SIGXFSZ, handled)
        assert statuses(serving) == (200, 200)
        assert serving.get("/exams.csv").status_code == 200
        assert serving.post("/exams", raw_example("child")).status_code == 201
