"""Flat tables over HTTP: one row for each finding, and the same rows in every form."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

import duckdb
import pytest
from tests.api.serving import BASE, Serving, example, raw_example

from brachium.export.flat import FlatTables, window
from brachium.settings import Settings
from brachium.wiring import build

NAMES = ("stiff-shoulder", "healthy-adult", "weak-right-arm", "elbow-after-fracture")


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A service with four exams."""
    with Serving(tmp_path_factory.mktemp("flat") / "test.sqlite3") as serving:
        for name in NAMES:
            assert serving.post("/exams", raw_example(name)).status_code == 201
        yield serving


def rows_of(answer):
    assert answer.status_code == 200, answer.text
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


def stored_leaves(serving):
    """Every leaf Observation by its identifier, from the bundles."""
    found = {}
    for name in NAMES:
        exam = serving.post("/exams", raw_example(name)).json()
        bundle = serving.get(f"/exams/{exam['id']}/bundle").json()
        for entry in bundle["entry"]:
            one = entry["resource"]
            method = json.dumps(one.get("method", ""))
            if one["resourceType"] != "Observation" or "hasMember" in one:
                continue
            if "method-calculated" not in method:
                found[one["identifier"][0]["value"]] = one
    return found


def test_sof_01_one_row_for_each_finding_with_its_value_or_its_reason(filled):
    rows = rows_of(filled.get("/views/findings?_format=csv"))
    leaves = stored_leaves(filled)
    by_key = {f"{row['exam']}/{row['key']}": row for row in rows}
    assert len(rows) == len(by_key) == len(leaves) > 100
    assert set(by_key) == set(leaves)
    for key, one in leaves.items():
        row = by_key[key]
        value = one.get("valueQuantity", {}).get("value")
        assert (Decimal(row["value"]) if row["value"] else None) == (
            None if value is None else Decimal(str(value))
        )
        assert row["unit"] == one.get("valueQuantity", {}).get("code", "")
        assert row["status"] == one["status"]
        assert row["patient"] == one["subject"]["reference"].removeprefix("Patient/")
        assert row["codes"].split() == [coding["code"] for coding in one["code"]["coding"]]
        assert row["edition"] == filled.parts.tables.edition
        assert bool(row["reason"]) == ("dataAbsentReason" in one)
        assert bool(row["value"] or row["value_code"]) != bool(row["reason"])
    absent = [row for row in rows if row["reason"]]
    assert {row["status"] for row in absent} == {"cancelled"}
    assert "not-tested-stiffness" in {row["reason"] for row in absent}


def test_sof_01_rows_have_the_words_of_the_exam(filled):
    posted = {one["key"]: one for one in example("stiff-shoulder")["findings"]}
    rows = rows_of(filled.get("/views/findings"))
    mine = [row for row in rows if row["exam"] == "SQ-2026-0102"]
    assert len(mine) > 20
    for row in mine:
        finding = posted[row["key"].split("/")[0]]
        assert row["joint"] == finding["joint"]
        assert row["kind"] == finding["kind"]
        assert row["mode"] == finding.get("mode", "")
        assert row["item"] in {finding.get(name) for name in ("motion", "test", "sign", "part")}
        sides = {"left": "Left", "right": "Right"}
        assert row["side"] == sides.get(finding["side"], row["side"])


def test_sof_01_motion_and_strength_are_parts_of_the_findings(filled):
    rows = rows_of(filled.get("/views/findings"))
    for kind in ("motion", "strength"):
        part = rows_of(filled.get(f"/views/{kind}"))
        expected = {row["observation"] for row in rows if row["kind"] == kind}
        assert {row["observation"] for row in part} == expected
        assert len(part) == len(expected) > 10


def test_sof_01_judgements_have_every_reference_and_everything_worked_out(filled):
    rows = rows_of(filled.get("/views/judgements"))
    low = next(row for row in rows if row["key"] == "shoulder-flexion-active-l")
    assert (low["interpretation"], low["low"], low["value"]) == ("L", "148.5", "94")
    assert "rule reference-range/" in low["reference"]
    worked = [row for row in rows if row["worked_out"] == "true"]
    assert {bool(row["kind"]) for row in worked} == {False}
    assert all(", rule " in row["rule"] for row in worked)
    assert any(row["side_ratio"] for row in worked)


def test_sof_02_csv_has_a_header_and_the_rows_of_the_view(filled):
    answer = filled.get("/exams.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    listed = {one["name"]: one for one in filled.get("/views").json()}
    header = [column["name"] for column in listed["findings"]["columns"]]
    assert answer.text.splitlines()[0].split(",") == header
    assert answer.content == filled.get("/views/findings?_format=csv").content
    assert filled.ask("GET", "/exams.csv?_format=parquet").status_code == 400


def test_sof_02_every_form_has_the_same_rows(filled, tmp_path):
    for name in ("findings", "motion", "strength", "judgements", "codings"):
        rows = rows_of(filled.get(f"/views/{name}?_format=csv"))
        lines = filled.get(f"/views/{name}?_format=ndjson").text.splitlines()
        assert [as_text(json.loads(line, parse_float=str)) for line in lines] == rows
        path = tmp_path / f"{name}.parquet"
        path.write_bytes(filled.get(f"/views/{name}?_format=parquet").content)
        table = duckdb.read_parquet(str(path))
        found = [dict(zip(table.columns, row, strict=True)) for row in table.fetchall()]
        assert [exact(row) for row in found] == [exact(row) for row in rows]


def as_text(row):
    return {name: cell_text(value) for name, value in row.items()}


def cell_text(value):
    if isinstance(value, list):
        return " ".join(value)
    words = {None: "", True: "true", False: "false"}
    return words[value] if value is None or isinstance(value, bool) else str(value)


def exact(row):
    """A row with decimals by what they are worth."""
    numbers = {"value", "low", "high", "side_ratio", "extension_deficit", "hyperextension"}
    plain = as_text(row)
    return {k: Decimal(v) if v and k in numbers else v for k, v in plain.items()}


def test_sof_02_numbers_keep_their_digits(service):
    exam = example("stiff-shoulder")
    exam["findings"] = [one for one in exam["findings"] if one["kind"] == "motion"][:1]
    text = json.dumps(exam).replace('"value": 168', '"value": 168.50')
    assert "168.50" in text
    assert service.post("/exams", text.encode()).status_code == 201
    (row,) = rows_of(service.get("/views/motion"))
    assert row["value"] == "168.50"
    assert '"value":168.50,' in service.get("/views/motion?_format=ndjson").text


def test_sof_02_from_and_to_are_about_the_time_of_the_exam(filled):
    times = {example(name)["identifier"]["value"]: example(name)["effective"] for name in NAMES}
    assert times["SQ-2026-0102"] == "2026-03-02T10:15:00+01:00"

    def exams(query):
        return {row["exam"] for row in rows_of(filled.get(f"/views/findings?{query}"))}

    assert exams("from=2026-03-02&to=2026-03-02") == {"SQ-2026-0102"}
    assert exams("from=2026-03-02T09:15:00Z&to=2026-03-02T09:15:00Z") == {"SQ-2026-0102"}
    assert exams("to=2026-03-01") | exams("from=2026-03-03") == set(times) - {"SQ-2026-0102"}
    assert exams("from=2031") == set()
    assert exams("") == set(times)


def test_since_brings_what_changed_and_withdrawals_too(tmp_path):
    moments = ["2026-05-01T08:00:00.000Z"]
    settings = Settings(database=tmp_path / "test.sqlite3", public_base=BASE)
    with Serving(settings.database, build(settings, lambda: moments[-1])) as service:
        first = service.post("/exams", raw_example("stiff-shoulder")).json()
        moments.append("2026-05-02T08:00:00.000Z")
        assert service.post("/exams", raw_example("healthy-adult")).status_code == 201
        moments.append("2026-05-03T08:00:00.000Z")
        where = f"/exams/{first['id']}/withdrawal"
        answer = service.post(where, {"reason": "Wrong person."}, If_Match='W/"1"')
        assert answer.status_code == 200, answer.text
        rows = rows_of(service.get("/views/findings?since=2026-05-02T09:00:00Z"))
        assert {row["exam"] for row in rows} == {"SQ-2026-0102"}
        assert {row["status"] for row in rows} == {"entered-in-error"}
        assert {row["exam_version"] for row in rows} == {"2"}
        both = rows_of(service.get("/views/findings?since=2026-05-02T08:00:00Z"))
        assert {row["exam"] for row in both} == {"SQ-2026-0102", "SQ-2026-0101"}


def test_what_changes_while_a_table_is_read_is_neither_missed_nor_doubled(service, monkeypatch):
    # else two exams would be one page, and the second not be looked up later
    monkeypatch.setattr("brachium.export.flat._BATCH", 1)
    names = [raw_example("stiff-shoulder"), raw_example("healthy-adult")]
    _, second = [service.post("/exams", one).json() for one in names]
    flat = FlatTables(service.parts.export)
    rows = flat.rows("findings", window())
    begun = [next(rows)]
    where = f"/exams/{second['id']}/withdrawal"
    assert service.post(where, {"reason": "Wrong."}, If_Match='W/"1"').status_code == 200
    assert service.post("/exams", raw_example("weak-right-arm")).status_code == 201
    begun += rows
    assert {(row[1], row[2]) for row in begun} == {("SQ-2026-0102", 1), ("SQ-2026-0101", 1)}
    assert len({row[10] for row in begun}) == len(begun)
    after = {(row[1], row[2]) for row in flat.rows("findings", window())}
    assert after > {("SQ-2026-0102", 1), ("SQ-2026-0101", 2)}


def test_trm_06_the_codings_of_a_period_are_those_of_its_exams(filled):
    rows = rows_of(filled.get("/views/codings?from=2026-03-02&to=2026-03-02"))
    exam = filled.post("/exams", raw_example("stiff-shoulder")).json()
    single = rows_of(filled.get(f"/exams/{exam['id']}/codings?format=csv"))
    assert len(rows) == len(single) > 100
    for row, one in zip(rows, single, strict=True):
        assert {name: row[name] for name in one} == one
        assert (row["exam"], row["exam_version"]) == ("SQ-2026-0102", "1")
        assert row["system"]
        assert row["code"]
        assert row["path"]
        assert row["edition"] == filled.parts.tables.edition
    assert any(row["source"] for row in rows)


def test_the_list_of_views_says_where_each_is_and_how_it_is_made(filled):
    listed = filled.get("/views").json()
    assert [one["name"] for one in listed] == [
        "findings",
        "judgements",
        "motion",
        "strength",
        "codings",
    ]
    for one in listed:
        assert one["url"] == f"{BASE}/views/{one['name']}"
        if one["name"] != "codings":
            assert one["view"]["resourceType"] == "ViewDefinition"
            names = [column["name"] for column in one["columns"]]
            assert "observation" in names


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/views/nothing", 404),
        ("/views/findings?_format=xlsx", 400),
        ("/views/findings?from=yesterday", 400),
        ("/views/findings?from=2026-02-30", 400),
        ("/views/findings?form=2026", 400),
        ("/views/findings?from=2026&from=2027", 400),
        ("/views?x=1", 400),
    ],
)
def test_what_cannot_be_answered_is_refused_before_a_byte_leaves(filled, path, status):
    answer = filled.get(path)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith("application/problem+json")


def test_accept_chooses_the_form(filled):
    assert filled.get("/views/motion", Accept="application/x-ndjson").text.startswith("{")
    parquet = filled.get("/views/motion", Accept="application/vnd.apache.parquet")
    assert parquet.content[:4] == b"PAR1"
    assert filled.get("/views/motion", Accept="image/png").status_code == 406
    assert filled.get("/views/motion", Accept="*/*").text.startswith("exam_id,")
    assert filled.get("/views", Accept="text/csv").status_code == 406
