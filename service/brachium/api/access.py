"""What every address needs: one table from route to scopes, which the gate goes by.

A route without a row stops the service from starting. FHIR types and letters are those of SMART
App Launch 2.2: ``r`` is read, vread and the history of a resource; ``s`` is search and the history
of a type or of everything. What an answer brings along (includes, contained versions, entries of a
transaction) is looked at where it is put together, by ``scope["caller"].scopes``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from brachium.api.served import CHECKS
from brachium.security.scopes import ANY, LETTERS, Scope, Scopes

# stands for the resource type in the path
TYPE = "{resource_type}"
# what an exam becomes: whoever handles a whole exam handles all of these
EXAM = ("Patient", "Practitioner", "Organization", "Observation", "DiagnosticReport", "Provenance")
FORM = "QuestionnaireResponse"
_TYPE_NAME = re.compile(r"[A-Z][A-Za-z]{1,63}")


@dataclass(frozen=True, slots=True)
class Need:
    """What a caller must be allowed: ``letters`` with each of ``types``; ``why`` says why.

    ``open`` needs no token at all, ``uncounted`` neither takes part in limits. ``told`` says
    whether the audit tells of each use; what shows no record of anybody is not told. ``whole``
    tells of all organizations together, and is not for a client that belongs to one.
    """

    why: str
    letters: str = ""
    types: tuple[str, ...] = ()
    open: bool = False
    uncounted: bool = False
    told: bool = True
    whole: bool = False

    def missing(self, scopes: Scopes, kind: str) -> tuple[Scope, ...]:
        """Return the scopes that the caller lacks; ``kind`` is the type that the path names."""
        types = (kind if one == TYPE else one for one in self.types)
        # what cannot be a type is not found later on
        needed = (
            Scope(one, self.letters) for one in types if one == ANY or _TYPE_NAME.fullmatch(one)
        )
        return scopes.missing(needed)


@dataclass(frozen=True, slots=True)
class Row:
    """One route: method, path with its names in braces, and what it needs."""

    method: str
    path: str
    need: Need


HEALTH = Need("tells nothing but that the service runs", open=True, uncounted=True, told=False)
DOCUMENTS = Need(
    "describes the service, as every answer that refuses leads to", open=True, told=False
)
DISCOVERY = Need(
    "has to be read before a token can be had (SMART 2.2 Conformance)", open=True, told=False
)
LOGIN = Need("is where a token is had", open=True)
FIGURES = Need("tells how much there is of everything, and no record", told=False, whole=True)
TOKEN = Need("holds no record; any token will do", told=False)
CREATE = Need("stores a whole exam, or codes one in a dry run", "c", EXAM)
CHANGE = Need("puts a new version to a whole exam; nothing is ever deleted", "u", EXAM)
READ = Need("shows a whole exam", "r", EXAM)
FOLLOW = Need("goes through all exams of a patient", "rs", EXAM)
EVERYTHING = Need("goes through all exams of all patients", "rs", EXAM)
AUDIT = Need("shows the end of the audit trail", "rs", ("AuditEvent",))
EVIDENCE = Need("shows a whole exam and all that was done with it", "r", (*EXAM, "AuditEvent"))
FHIR_READ = Need("read, vread and history of a resource are r", "r", (TYPE,))
FHIR_SEARCH = Need("search, and the history of a type, are s", "s", (TYPE,))
FHIR_WHOLE = Need("the history of everything shows every type", "s", (ANY,))
LATEST = Need("a search, of which the latest are kept", "s", ("Observation",))
RECORD = Need("types that the caller may not read are left out", "r", ("Patient",))
FORM_IN = Need("takes an exam in as a form, or codes one and stores nothing", "c", (FORM,))
FORM_CHANGE = Need("corrects an exam by its form", "u", (FORM,))
FORM_PUT = Need("corrects the form that a search finds, or takes it in", "cus", (FORM,))
EXPORT = Need("types that the caller may not read and search are refused or left out")
JOB = Need("belongs to the client that began it; a file needs the scope of its type")
ENTRIES = Need("each entry needs what it would need alone (SMART 2.2 Batches and Transactions)")

_FHIR_ITEM = f"/fhir/{TYPE}/{{resource_id}}"
ROWS = (
    Row("GET", "/", DOCUMENTS),
    Row("GET", "/docs", DOCUMENTS),
    Row("GET", "/openapi.json", DOCUMENTS),
    Row("GET", "/rules", DOCUMENTS),
    Row("GET", "/rules/{code}", DOCUMENTS),
    Row("GET", "/live", HEALTH),
    Row("GET", "/ready", HEALTH),
    Row("GET", "/metrics", FIGURES),
    Row("GET", "/catalogue", TOKEN),
    Row("GET", "/schema/exam", TOKEN),
    Row("POST", "/auth/token", LOGIN),
    Row("POST", "/exams", CREATE),
    Row("PUT", "/exams/{exam_id}", CHANGE),
    Row("POST", "/exams/{exam_id}/withdrawal", CHANGE),
    Row("POST", "/exams/{exam_id}/close", CHANGE),
    Row("GET", "/exams/{exam_id}", READ),
    Row("GET", "/exams/{exam_id}/versions", READ),
    Row("GET", "/exams/{exam_id}/bundle", READ),
    Row("GET", "/exams/{exam_id}/codings", READ),
    Row("GET", "/exams/{exam_id}/assessment", READ),
    Row("GET", "/exams/{exam_id}/note", READ),
    Row("GET", "/exams/{exam_id}/findings/{key}/explanation", READ),
    Row("POST", "/patients/trend", FOLLOW),
    Row("GET", "/patients/{patient_id}/trend", FOLLOW),
    Row("GET", "/views", TOKEN),
    Row("GET", "/views/{name}", EVERYTHING),
    Row("GET", "/exams.csv", EVERYTHING),
    Row("GET", "/audit/head", AUDIT),
    Row("GET", "/exams/{exam_id}/evidence", EVIDENCE),
    Row("GET", "/fhir/metadata", DISCOVERY),
    Row("GET", "/fhir/.well-known/smart-configuration", DISCOVERY),
    Row("POST", "/fhir", ENTRIES),
    Row("POST", "/fhir/", ENTRIES),
    Row("POST", f"/fhir/{FORM}", FORM_IN),
    Row("PUT", f"/fhir/{FORM}", FORM_PUT),
    Row("POST", f"/fhir/{FORM}/$extract", FORM_IN),
    Row("PUT", f"/fhir/{FORM}/{{resource_id}}", FORM_CHANGE),
    Row("GET", f"/fhir/{TYPE}", FHIR_SEARCH),
    Row("POST", f"/fhir/{TYPE}/_search", FHIR_SEARCH),
    Row("GET", f"/fhir/{TYPE}/_history", FHIR_SEARCH),
    Row("GET", "/fhir/_history", FHIR_WHOLE),
    Row("GET", "/fhir/Observation/$lastn", LATEST),
    Row("GET", "/fhir/Patient/{patient_id}/$everything", RECORD),
    Row("GET", "/fhir/Composition/{composition_id}/$document", READ),
    Row("GET", "/fhir/DiagnosticReport/{report_id}/$document", READ),
    Row("POST", f"/fhir/{TYPE}/$validate", TOKEN),
    *(
        Row(method, f"/fhir/{one.type}{place}/${one.name}", TOKEN)
        for one in CHECKS
        if one.name != "validate"
        for place in ("", "/{resource_id}")[: len(one.levels)]
        for method in ("GET", "POST")
    ),
    Row("GET", "/fhir/$export", EXPORT),
    Row("POST", "/fhir/$export", EXPORT),
    Row("GET", "/fhir/Patient/$export", EXPORT),
    Row("POST", "/fhir/Patient/$export", EXPORT),
    Row("GET", "/fhir/Group/{group_id}/$export", EXPORT),
    Row("POST", "/fhir/Group/{group_id}/$export", EXPORT),
    Row("GET", "/fhir/$export-jobs/{job_id}", JOB),
    Row("DELETE", "/fhir/$export-jobs/{job_id}", JOB),
    Row("GET", "/fhir/$export-jobs/{job_id}/{file_name}", JOB),
    Row("GET", _FHIR_ITEM, FHIR_READ),
    Row("GET", f"{_FHIR_ITEM}/_history", FHIR_READ),
    Row("GET", f"{_FHIR_ITEM}/_history/{{version}}", FHIR_READ),
    # behind the history of a patient, which fits it too
    Row("GET", f"/fhir/Patient/{{patient_id}}/{TYPE}", FHIR_SEARCH),
)


class Access:
    """Finds the row of a request; of several that fit, the one with the fewest names in braces."""

    def __init__(self, rows: Iterable[Row] = ROWS) -> None:
        ordered = sorted(rows, key=lambda row: row.path.count("{"))
        self._rows: dict[tuple[str, str], list[tuple[re.Pattern[str], Row]]] = {}
        for row in ordered:
            key = (row.method, _first(row.path))
            self._rows.setdefault(key, []).append((_pattern(row.path), row))

    def find(self, method: str, path: str) -> tuple[Row | None, str]:
        """Return the row of a request and the resource type in its path, if there is one."""
        for pattern, row in self._rows.get((method, _first(path)), ()):
            found = pattern.fullmatch(path)
            if found:
                return row, found.groupdict().get(TYPE.strip("{}"), "")
        return None, ""

    def check(self, routes: Iterable[tuple[str, str]]) -> None:
        """Refuse to go on with a route that no row is for: nobody said who may use it."""
        for method, path in routes:
            row, _ = self.find(method, path)
            if row is None or row.path != path:
                raise RuntimeError(f"no row of ROWS in api/access.py is for {method} {path}")


def _first(path: str) -> str:
    return path.split("/", 2)[1] if "/" in path else ""


def _pattern(path: str) -> re.Pattern[str]:
    parts = re.split(r"(\{\w+\})", path)
    written = (f"(?P<{x[1:-1]}>[^/]+)" if x.startswith("{") else re.escape(x) for x in parts)
    return re.compile("".join(written))


def letters_of(kind: str, interactions: Iterable[str]) -> str:
    """Return what can be done with a type, in SMART's letters and their order.

    ``interactions`` are the R4 codes under which FHIR serves it; exams come in and change beside.
    """
    known = {"create": "c", "read": "r", "update": "u", "search-type": "s"}
    found = {known[one] for one in interactions if one in known} | (
        set("cu") if kind in EXAM else set()
    )
    return "".join(letter for letter in LETTERS if letter in found)
