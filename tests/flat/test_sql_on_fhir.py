"""The public test cases of SQL on FHIR v2, for everything that the views of the service use."""

from __future__ import annotations

import json
import os
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from brachium.flat.functions import FUNCTIONS, BrokenRow
from brachium.flat.tokens import BrokenView
from brachium.flat.views import view
from brachium.formats import lossless

# What no view of the service needs is refused when a view is read. By file; None is all of it.
OUT_OF_SCOPE: dict[str, tuple[str, set[str] | None]] = {
    "fn_boundary.json": ("lowBoundary and highBoundary", None),
    "fhirpath_numbers.json": ("arithmetic", None),
    "repeat.json": ("repeat", None),
    "fn_join.json": ("join", None),
    "fhirpath.json": ("join", {"string join", "string join: default separator"}),
    "row_index.json": ("%rowIndex", None),
    "union.json": (
        "unionAll",
        {
            "basic",
            "unionAll + column",
            "duplicates",
            "empty results",
            "empty with forEachOrNull",
            "forEachOrNull and forEach",
            "nested",
            "one empty operand",
        },
    ),
    "basic.json": ("unionAll", {"column ordering"}),
    "constant.json": ("unionAll", {"constant in unionAll"}),
    "foreach.json": (
        "unionAll",
        {
            "forEachOrNull & unionAll on the same level",
            "forEach & unionAll on the same level",
            "forEach & unionAll & column & select on the same level",
            "forEachOrNull & unionAll & column & select on the same level",
        },
    ),
}
IN_SCOPE = 90


def folder() -> Path:
    named = os.environ.get("BRACHIUM_SHARED")
    shared = Path(named) if named else Path(__file__).resolve().parents[3] / "shared"
    return shared / "data" / "sql-on-fhir-v2"


def out_of_scope(file: str, title: str) -> bool:
    _, titles = OUT_OF_SCOPE.get(file, ("", set()))
    return titles is None or title in titles


def cases() -> list[tuple[str, str, Any, Any]]:
    found = []
    for path in sorted(folder().glob("*.json")):
        suite, plain = lossless.parse(path.read_bytes()), json.loads(path.read_bytes())
        for case, expected in zip(suite["tests"], plain["tests"], strict=True):
            found.append((path.name, case["title"], (suite["resources"], case), expected))
    return found


CASES = cases()
NAMED = [pytest.param(*one, id=f"{one[0]}:{one[1]}") for one in CASES]


def test_the_public_cases_are_there(shared_dir):
    assert (shared_dir / "data" / "sql-on-fhir-v2").is_dir()
    assert sum(not out_of_scope(file, title) for file, title, *_ in CASES) == IN_SCOPE
    known = {(file, title) for file, title, *_ in CASES}
    named = {(file, one) for file, (_, titles) in OUT_OF_SCOPE.items() for one in titles or ()}
    assert named <= known


@pytest.mark.parametrize(("file", "title", "given", "expected"), NAMED)
def test_sof_01_public_case(file, title, given, expected):
    resources, case = given
    if out_of_scope(file, title):
        with pytest.raises(BrokenView):
            view(case["view"])
        return
    if expected.get("expectError"):
        with pytest.raises((BrokenView, BrokenRow)):
            run(case["view"], resources)
        return
    names, rows = run(case["view"], resources)
    assert counted(rows) == counted(expected["expect"])
    assert names == expected.get("expectColumns", names)


def run(definition, resources):
    made = view(definition)
    names = [column.name for column in made.columns]
    rows = [row for one in resources for row in made.rows(one)]
    found = [lossless.write(dict(zip(names, row, strict=True))) for row in rows]
    return names, [json.loads(one) for one in found]


def counted(rows):
    return Counter(json.dumps(row, sort_keys=True) for row in rows)


def test_every_function_of_ours_is_in_a_public_case_or_has_a_test_here():
    text = json.dumps([expected["view"] for *_, expected in CASES])
    untested = {name for name in FUNCTIONS if f"{name}(" not in text}
    assert untested == {"endsWith"}


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("code.endsWith('-b')", True),
        ("code.endsWith('a')", False),
        ("none.endsWith('a')", None),
    ],
)
def test_ends_with_of_fhirpath_n1_5_6_6(path, expected):
    definition = {"resource": "Basic", "select": [{"column": [{"name": "x", "path": path}]}]}
    assert view(definition).rows({"resourceType": "Basic", "code": "a-b"}) == [(expected,)]


@pytest.mark.parametrize(
    "path",
    [
        "",
        "a.",
        "a b",
        "a..b",
        "(a",
        "a[x]",
        "a[-1]",
        "a.unknown()",
        "a.where()",
        "a.first(1)",
        "a.endsWith(b)",
        "%nothing",
        "a = ",
        "a | b",
        "'open",
        "and",
    ],
)
def test_a_path_that_cannot_be_used_is_refused_when_the_view_is_read(path):
    definition = {"resource": "Basic", "select": [{"column": [{"name": "x", "path": path}]}]}
    if path == "and":  # a name like any other
        assert view(definition).columns
        return
    with pytest.raises(BrokenView):
        view(definition)


def test_two_columns_of_one_name_are_refused():
    column = {"name": "x", "path": "id"}
    with pytest.raises(BrokenView, match="one name"):
        view({"resource": "Basic", "select": [{"column": [column, column]}]})
