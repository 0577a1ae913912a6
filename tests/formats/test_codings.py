"""The table of codings: every coding of every resource, where it stands and where it is from."""

from __future__ import annotations

import csv
import io
import json

from tests.intake.desks import export, intake, tables
from tests.intake.exams import exam, raw

from brachium.formats.codings import HEADER, as_csv, as_json


def made():
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    return desk, exam_id, export(desk).codings(exam_id)


def test_trm_06_every_coding_is_listed_once_at_its_place() -> None:
    desk, exam_id, rows = made()
    texts = [row.text for row in desk.desk.store.resources(exam_id)]
    assert len(rows) == sum(text.count(b'"code":"') for text in texts)
    assert len({(row.resource, row.path) for row in rows}) == len(rows)


def test_trm_06_a_path_leads_to_its_coding() -> None:
    desk, exam_id, rows = made()
    stored = {
        f"{row.type}/{row.id}/_history/{row.version}": json.loads(row.text)
        for row in desk.desk.store.resources(exam_id)
    }
    for row in rows:
        value = stored[row.resource]
        for part in row.path.split(".")[1:]:
            name, _, index = part.partition("[")
            value = value[name][int(index[:-1])] if index else value[name]
        assert (value["system"], value["code"]) == (row.system, row.code)


def test_trm_06_each_coding_says_whether_it_is_verified_and_where_it_was_seen() -> None:
    _, _, rows = made()
    codes = {(tables().systems[row.system].uri, row.code): row for row in tables().codes.values()}
    standard = [row for row in rows if (row.system, row.code) in codes]
    assert standard
    for row in standard:
        known = codes[row.system, row.code]
        assert row.verified == ("yes" if known.verified else "no")
        assert row.source == known.source
        assert row.display in (known.display, "")
    assert "no" in {row.verified for row in standard}
    assert {row.edition for row in rows} == {tables().edition}
    assert all(row.verified and row.source for row in rows)


def test_trm_06_a_code_that_the_tables_no_longer_know_is_listed_as_unknown() -> None:
    desk, exam_id, _ = made()
    other = export(desk)
    other.__dict__["_known"] = {}
    rows = other.codings(exam_id)
    assert {row.verified for row in rows} == {""}
    assert other.codings("no-such-exam") is None


def test_trm_06_csv_and_json_hold_the_same_rows() -> None:
    _, _, rows = made()
    read = list(csv.DictReader(io.StringIO(as_csv(rows).decode(), newline="")))
    assert read == json.loads(as_json(rows))
    assert tuple(read[0]) == HEADER
    assert as_csv(rows).startswith(b"resource,path,system,code,display,verified,edition,source\r\n")
