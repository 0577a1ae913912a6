"""Two organizations in one service, and every request that could show one what is the other's."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

from tests.api.forms import form
from tests.api.serving import FHIR_JSON, example, inside
from tests.security.logins import Guarded

HERE = "https://saltmarsh.example.org/fid/facility|SQ-1"
THERE = "https://saltmarsh.example.org/fid/facility|SQ-2"
_FID = "https://saltmarsh.example.org/fid"


def exam_there(value: str = "SQ-2-001", patient: str = "P-0900") -> dict[str, Any]:
    """An exam of the other organization, about another patient and by another examiner."""
    found = example("elbow-after-fracture")
    found["identifier"] = {"system": f"{_FID}/exam", "value": value}
    found["patient"]["identifier"]["value"] = patient
    found["examiner"]["identifier"]["value"] = "E-90"
    found["facility"]["identifier"] = {"system": f"{_FID}/facility", "value": "SQ-2"}
    return found


class Call(NamedTuple):
    """One request: the address as the document has it, and as it is called."""

    method: str
    template: str
    path: str
    options: dict[str, Any]


class Apart(Guarded):
    """A service with a client of each organization, and an exam of the second one."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        super().__init__(folder)
        self.register("here", "clinic-app", "system/*.cruds", organization=HERE)
        self.register("there", "clinic-app", "system/*.cruds", organization=THERE)
        self.register("watcher", "auditor", "system/*.rs", organization=HERE)
        self._logins: dict[str, dict[str, str]] = {}
        self.other = self.exam("there", exam_there())

    def named(self, client: str) -> dict[str, str]:
        """The header of a client; it logs in once."""
        if client not in self._logins:
            scope = "system/*.rs" if client == "watcher" else "system/*.cruds"
            self._logins[client] = self.as_client(client, scope)
        return self._logins[client]

    def call(self, client: str, method: str, path: str, body: Any = None, **headers: str):
        """A request of a client; a body is JSON, FHIR's under /fhir."""
        media = FHIR_JSON if path.startswith("/fhir") else "application/json"
        given = {"Content-Type": media} if body is not None else {}
        more = {name.replace("_", "-"): value for name, value in headers.items()}
        content = None if body is None else json.dumps(body).encode()
        whole = {**given, **more, **self.named(client)}
        return self.ask(method, path, content=content, headers=whole)

    def exam(self, client: str, exam: dict[str, Any]) -> dict[str, Any]:
        """The receipt of an exam that a client has stored."""
        answer = self.call(client, "POST", "/exams", exam)
        assert answer.status_code == 201, answer.text
        return answer.json()

    def paths(self) -> dict[str, Any]:
        """The addresses of the OpenAPI document."""
        return self.get("/openapi.json").json()["paths"]


class Exam:
    """What there is of one exam, as the client that sees everything reads it."""

    def __init__(self, service: Apart, exam: dict[str, Any], exam_id: str) -> None:
        self.exam = exam
        self.id = exam_id
        path = f"/exams/{exam_id}/bundle"
        self.bundle = service.call("app", "GET", path).json()
        self.transaction = service.call("app", "GET", f"{path}?type=transaction").json()
        self.resources = [entry["resource"] for entry in self.bundle["entry"]]
        found = {one["resourceType"]: one for one in self.resources}
        self.patient = found["Patient"]["id"]
        self.report = found["DiagnosticReport"]["id"]
        self.facility = found["Organization"]["id"]
        self.form = found.get("QuestionnaireResponse")
        self.job = ""

    @property
    def values(self) -> dict[str, list[str]]:
        """What stands for the names in braces; one that is not here is for the test to learn."""
        return {
            "exam_id": [self.id],
            "composition_id": [self.id],
            "report_id": [self.report],
            "patient_id": [self.patient],
            "group_id": [self.facility],
            "key": [self.exam["findings"][0]["key"]],
            "name": ["findings", "codings"],
            "code": ["patient-changed"],
            "version": ["1"],
            "job_id": [self.job],
            "file_name": ["00001.Patient.ndjson"],
        }

    def bodies(self) -> dict[tuple[str, str], Any]:
        """What is sent, by method and address; one that is not here is for the test to learn."""
        about = {"patient": {"identifier": self.exam["patient"]["identifier"]}}
        nothing = {"resourceType": "Parameters"}
        reads = [
            {"request": {"method": "GET", "url": f"{one['resourceType']}/{one['id']}"}}
            for one in self.resources
        ]
        batch = {"resourceType": "Bundle", "type": "batch", "entry": reads}
        again = {"exam": self.exam, "reason": "Read from the wrong scale."}
        return {
            ("post", "/exams"): self.exam,
            ("put", "/exams/{exam_id}"): again,
            ("post", "/exams/{exam_id}/withdrawal"): {"reason": again["reason"]},
            ("post", "/exams/{exam_id}/close"): None,
            ("post", "/patients/trend"): about["patient"],
            ("post", "/fhir"): self.transaction,
            ("post", "/fhir/"): batch,
            ("post", "/fhir/QuestionnaireResponse"): self.form,
            ("put", "/fhir/QuestionnaireResponse"): self.form,
            ("put", "/fhir/QuestionnaireResponse/{resource_id}"): self.form,
            ("post", "/fhir/QuestionnaireResponse/$extract"): self.form,
            ("post", "/fhir/$export"): nothing,
            ("post", "/fhir/Patient/$export"): {
                **nothing,
                "parameter": [
                    {
                        "name": "patient",
                        "valueReference": {"reference": f"Patient/{self.patient}"},
                    }
                ],
            },
            ("post", "/fhir/Group/{group_id}/$export"): nothing,
        }


# they hold no record, so there is nothing to hide; each is asked by the tests of its own
_NO_RECORD = re.compile(
    r"/(docs|openapi\.json|rules.*|live|ready|catalogue|schema/.*|auth/token|views)?"
    r"|/fhir/(metadata|\.well-known/.*|(CodeSystem|ValueSet|ConceptMap)/.*|.*/\$validate)"
)
_OWN = ("Patient", "Practitioner", "Organization", "DiagnosticReport", "Observation")
_TYPES = (*_OWN, "Provenance", "QuestionnaireResponse")


def calls(service: Apart, of: Exam) -> Iterator[Call]:
    """Every request of the OpenAPI document that could show an exam, made to find it."""
    for template, methods in service.paths().items():
        if _NO_RECORD.fullmatch(template):
            continue
        for method in methods:
            yield from _filled(method, template, of)


def _filled(method: str, template: str, of: Exam) -> Iterator[Call]:
    for path in _addresses(template, of):
        if method == "get":
            yield Call("GET", template, path, {})
            if template == "/fhir/{resource_type}":
                yield from (Call("GET", template, f"{path}?{q}", {}) for q in _queries(path, of))
        elif template.endswith("/_search"):
            yield Call("POST", template, path, {"data": {"_count": "3"}})
        elif method == "delete":
            yield Call("DELETE", template, path, {})
        else:
            body = of.bodies()[method, template]
            headers = {"Content-Type": FHIR_JSON if "/fhir" in path else "application/json"}
            if method == "put" or template.startswith("/exams/"):
                headers["If-Match"] = 'W/"1"'
            query = ""
            if (method, template) == ("put", "/fhir/QuestionnaireResponse"):
                by = body["identifier"]
                query = f"?identifier={by['system']}|{by['value']}"
            content = b"" if body is None else json.dumps(body).encode()
            yield Call(
                method.upper(), template, path + query, {"content": content, "headers": headers}
            )


def _queries(path: str, of: Exam) -> list[str]:
    kind = path.rpartition("/")[2]
    found = ["_summary=count", "_count=1", "_sort=-_lastUpdated", "_total=accurate"]
    found += [f"_id={one['id']}" for one in of.resources if one["resourceType"] == kind][:3]
    if kind in ("Observation", "DiagnosticReport", "QuestionnaireResponse", "Provenance"):
        found.append(f"patient=Patient/{of.patient}")
    if kind in ("Observation", "DiagnosticReport"):
        by = of.exam["patient"]["identifier"]
        found += [
            f"_include={kind}:performer&_revinclude=Provenance:target",
            f"performer=Organization/{of.facility}",
            f"patient.identifier={by['system']}|{by['value']}&_include={kind}:patient",
        ]
    return found


def _addresses(template: str, of: Exam) -> Iterator[str]:
    if "{resource_id}" in template:
        for one in of.resources:
            path = template.replace("{resource_id}", one["id"])
            yield from _rest(path.replace("{resource_type}", one["resourceType"]), of)
    elif "{resource_type}" in template:
        for kind in _TYPES:
            yield from _rest(template.replace("{resource_type}", kind), of)
    elif template.endswith("$lastn"):
        yield f"{template}?patient=Patient/{of.patient}"
    else:
        yield from _rest(template, of)


def _rest(template: str, of: Exam) -> Iterator[str]:
    names = re.findall(r"{(\w+)}", template)
    if not names:
        yield template
        return
    for value in of.values[names[0]]:
        yield from _rest(template.replace("{" + names[0] + "}", value), of)


def same(answer: Any) -> tuple[int, bytes]:
    """What an answer says, without what is drawn by lot."""
    body = re.sub(rb"_page=[\w-]+", b"_page=", answer.content)
    body = re.sub(rb'"requestId":"\w+"', b'"requestId":""', body)
    return answer.status_code, body


def form_here() -> dict[str, Any]:
    """A form of the first organization."""
    return form(value="SQ-1-FORM")


def page_of(answer: Any, relation: str) -> str:
    """Where a link of a bundle leads."""
    links = {one["relation"]: one["url"] for one in answer.json()["link"]}
    return inside(links[relation])
