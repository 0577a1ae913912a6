"""Every operation of the OpenAPI document, asked as its schema says and against it.

``python -m tests.fuzz.openapi 50`` asks each operation about a hundred times. schemathesis invents
the requests and compares the answers with the document: no failure, no status that is not
documented, media type and body as documented.
"""

from __future__ import annotations

import copy
import sys
import tempfile
from collections import Counter
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from tests.api.serving import Serving, raw_example

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
Json = Any
# what the generator cannot follow: the conditions between members, which the suite's own exams test
CONDITIONS = ("allOf", "anyOf", "oneOf", "if", "then", "not")


def filled(database: Path) -> tuple[Serving, dict[str, str]]:
    """Return a service with some exams, and values for the parameters of its addresses."""
    service = Serving(database)
    service.post("/exams", raw_example("draft"))
    exam = service.post("/exams", raw_example("hyperextending-elbow")).json()
    report = service.get("/fhir/DiagnosticReport").json()["entry"][0]["resource"]
    key = service.get(f"/exams/{exam['id']}").json()["exam"]["findings"][0]["key"]
    places = {
        "exam_id": exam["id"],
        "patient_id": report["subject"]["reference"].partition("/")[2],
        "report_id": report["id"],
        "composition_id": report["id"],
        "resource_id": report["id"],
        "resource_type": "DiagnosticReport",
        "version": "1",
        "key": key,
        "name": "findings",
        "code": "conflict",
    }
    return service, places


def near(app: Any) -> Any:
    """Return the application as seen from its own machine, which may come without TLS."""

    async def asked(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            scope = {**scope, "client": ("127.0.0.1", 50_000)}
        await app(scope, receive, send)

    return asked


def simpler(document: Json) -> Json:
    """Return the document with an exam's shape but without the conditions between its members."""
    document = copy.deepcopy(document)
    definitions = document["components"]["schemas"]["Exam"]["$defs"]
    kinds = [name for name, shape in definitions.items() if "kind" in shape.get("properties", {})]
    for name in kinds:
        definitions[name] = {k: v for k, v in definitions[name].items() if k not in CONDITIONS}
    return document


def operations(service: Serving) -> Iterator[Any]:
    """Yield every operation of the document that the service hands out."""
    schema = schemathesis.openapi.from_dict(simpler(service.get("/openapi.json").json()))
    schema.app = near(service.app)
    for found in schema.get_all_operations():
        yield found.ok()


def strategies(operation: Any, places: dict[str, str]) -> Iterator[Any]:
    """Yield how an operation is asked: at places that exist, anywhere, and against its schema."""
    named = {p.name: places[p.name] for p in operation.path_parameters if p.name in places}
    yield operation.as_strategy(path_parameters=named or None)
    if named:
        yield operation.as_strategy()
    if operation.query or operation.headers or operation.body:
        yield operation.as_strategy(
            generation_mode=GenerationMode.NEGATIVE, path_parameters=named or None
        )


def asked(
    service: Serving, places: dict[str, str], examples: int, only: Collection[str] = ()
) -> tuple[Counter[int], dict[tuple[str, str], str]]:
    """Ask all, or ``only`` some paths; return how often each status came, and every complaint."""
    statuses: Counter[int] = Counter()
    wrong: dict[tuple[str, str], str] = {}
    for operation in operations(service):
        if only and operation.path not in only:
            continue
        for strategy in strategies(operation, places):
            _try(strategy, examples, statuses, wrong)
    return statuses, wrong


def _try(strategy: Any, examples: int, statuses: Any, wrong: Any) -> None:
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )
    @given(case=strategy)
    def one(case: Any) -> None:
        answer = case.call(base_url="http://127.0.0.1:8321")
        statuses[answer.status_code] += 1
        try:
            case.validate_response(answer, checks=CHECKS)
        except FailureGroup as group:
            for failure in group.exceptions:
                key = (case.operation.label, f"{type(failure).__name__} {answer.status_code}")
                wrong.setdefault(key, f"{failure}\n{case.as_curl_command()}"[:1500])

    try:
        one()
    except Unsatisfiable:
        # nothing can be against a schema that allows everything
        return


def main() -> int:
    """Run as a command: how often each operation is asked in each way."""
    examples = int((*sys.argv[1:], "50")[0])
    with tempfile.TemporaryDirectory() as folder:
        service, places = filled(Path(folder) / "asked.sqlite3")
        with service:
            statuses, wrong = asked(service, places, examples)
    for (operation, why), example in wrong.items():
        sys.stdout.write(f"{operation}: {why}: {example}\n")
    sys.stdout.write(
        f"{statuses.total()} requests, {len(wrong)} wrong; {sorted(statuses.items())}\n"
    )
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
