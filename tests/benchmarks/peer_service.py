"""The peer of the benchmarks: the same job done the plain way.

FastAPI parses the exam into pydantic models, fhir.resources builds every Observation, an ORM
stores one row per resource, and the finished Bundle model is dumped as the answer. It applies no
rules and judges nothing, so it does less work than the service it is compared with.
"""

from __future__ import annotations

import argparse
import os
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, Literal

import uvicorn
from fastapi import FastAPI, Response
from fhir.resources.R4B.bundle import Bundle
from fhir.resources.R4B.diagnosticreport import DiagnosticReport
from fhir.resources.R4B.observation import Observation
from pydantic import BaseModel, ConfigDict
from pydantic.alias_generators import to_camel
from sqlalchemy import LargeBinary, String, create_engine, event
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

SYSTEM = "https://peer.example.org/fhir/CodeSystem/arm-exam"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
V2_YES_NO = "http://terminology.hl7.org/CodeSystem/v2-0136"
UCUM = "http://unitsofmeasure.org"


class Shape(BaseModel):
    """A posted object, members in camelCase."""

    model_config = ConfigDict(extra="forbid", alias_generator=to_camel)


class Identifier(Shape):
    """A business identifier."""

    system: str
    value: str


class Party(Shape):
    """Patient, examiner or facility."""

    identifier: Identifier
    birth_date: str | None = None
    sex: str | None = None
    dominant_hand: str | None = None


class Quantity(Shape):
    """A value with its unit."""

    value: Decimal
    unit: str


class Absent(Shape):
    """Why there is no result."""

    reason: str
    because: str | None = None


class Finding(Shape):
    """One finding of any kind."""

    key: str
    kind: Literal["inspection", "motion", "palpation", "strength", "part"]
    joint: str
    side: Literal["left", "right", "both"]
    digit: str | None = None
    site: str | None = None
    sign: str | None = None
    motion: str | None = None
    test: str | None = None
    part: str | None = None
    mode: str | None = None
    present: bool | None = None
    severity: Decimal | None = None
    angle: Quantity | None = None
    end: str | None = None
    magnitude: Quantity | None = None
    distance: Quantity | None = None
    grade: str | None = None
    trials: list[Quantity] = []
    outcome: str | None = None
    absent: Absent | None = None
    arm_position: str | None = None
    method: str | None = None
    position: str | None = None
    limited_by: list[str] = []
    note: str | None = None


class Exam(Shape):
    """The posted exam."""

    identifier: Identifier
    status: str
    effective: str
    patient: Party
    examiner: Party
    facility: Party
    encounter: Party | None = None
    note: str | None = None
    findings: list[Finding]


class Base(DeclarativeBase):
    """Declarative base of the peer's two tables."""


class Row(Base):
    """One stored resource."""

    __tablename__ = "resource"
    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    type: Mapped[str] = mapped_column(String(32), index=True)
    exam: Mapped[str] = mapped_column(String(255), index=True)
    text: Mapped[bytes] = mapped_column(LargeBinary)


class Token(Base):
    """One search token of a resource."""

    __tablename__ = "token"
    key: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    resource: Mapped[str] = mapped_column(String(36), index=True)
    parameter: Mapped[str] = mapped_column(String(32))
    value: Mapped[str] = mapped_column(String(255), index=True)


def _concept(code: str, text: str) -> dict[str, Any]:
    return {"coding": [{"system": SYSTEM, "code": code, "display": text}], "text": text}


def _quantity(value: Any, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def _value(finding: Any) -> dict[str, Any]:
    if finding.absent is not None:
        return {"dataAbsentReason": _concept(finding.absent.reason, finding.absent.reason)}
    if finding.kind in ("inspection", "palpation"):
        code = "Y" if finding.present else "N"
        return {"valueCodeableConcept": {"coding": [{"system": V2_YES_NO, "code": code}]}}
    if finding.kind == "motion" and finding.angle is not None:
        return {"valueQuantity": _quantity(finding.angle.value, finding.angle.unit)}
    if finding.kind == "motion" and finding.end is not None:
        magnitude = finding.magnitude.value if finding.magnitude else 0
        sign = -1 if finding.end.startswith("beyond") else 1
        return {"valueQuantity": _quantity(sign * magnitude, "deg")}
    if finding.kind == "strength" and finding.trials:
        best = max(finding.trials, key=lambda trial: trial.value)
        return {"valueQuantity": _quantity(best.value, best.unit)}
    return {"valueCodeableConcept": {"text": str(getattr(finding, "grade", None) or "normal")}}


def _name(finding: Any) -> str:
    parts = [
        finding.joint,
        getattr(finding, "motion", None) or getattr(finding, "test", None),
        getattr(finding, "site", None),
        getattr(finding, "sign", None),
        getattr(finding, "mode", None),
        finding.digit,
    ]
    return "-".join(part for part in parts if part)


def build(exam: Exam) -> Bundle:
    """Return the exam as a collection Bundle of fhir.resources models."""
    issued = datetime.now(UTC).isoformat(timespec="milliseconds")
    patient = {"identifier": exam.patient.identifier.model_dump()}
    entries: list[dict[str, Any]] = []
    results = []
    for finding in exam.findings:
        for side in ("left", "right") if finding.side == "both" else (finding.side,):
            name = _name(finding)
            observation = Observation(
                id=str(uuid.uuid4()),
                identifier=[
                    {
                        "system": exam.identifier.system,
                        "value": f"{exam.identifier.value}/{finding.key}/{side}",
                    }
                ],
                status="cancelled" if finding.absent else "final",
                category=[{"coding": [{"system": CATEGORY, "code": "exam", "display": "Exam"}]}],
                code=_concept(name, f"{side} {name}"),
                subject=patient,
                effectiveDateTime=exam.effective,
                issued=issued,
                performer=[{"identifier": exam.examiner.identifier.model_dump()}],
                bodySite=_concept(f"site-{finding.joint}", f"{side} {finding.joint}"),
                **_value(finding),
            )
            results.append({"reference": f"Observation/{observation.id}"})
            entries.append({"fullUrl": f"urn:uuid:{observation.id}", "resource": observation})
    report = DiagnosticReport(
        id=str(uuid.uuid4()),
        status="final",
        code=_concept("arm-exam-report", "Arm examination"),
        subject=patient,
        effectiveDateTime=exam.effective,
        issued=issued,
        result=results,
    )
    entries.append({"fullUrl": f"urn:uuid:{report.id}", "resource": report})
    return Bundle(type="collection", entry=entries)


def create_app(database: str) -> FastAPI:
    """Return the peer service on an SQLite file with the same durability settings."""
    engine = create_engine(f"sqlite:///{database}")

    @event.listens_for(engine, "connect")
    def durable(connection: Any, _record: Any) -> None:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")

    Base.metadata.create_all(engine)
    app = FastAPI()

    @app.post("/exams", status_code=201)
    def post(exam: Exam) -> Response:
        bundle = build(exam)
        with Session(engine) as session:
            for entry in bundle.entry:
                resource = entry.resource
                session.add(
                    Row(
                        id=resource.id,
                        type=resource.get_resource_type(),
                        exam=exam.identifier.value,
                        text=resource.model_dump_json().encode(),
                    )
                )
                for parameter, value in (
                    ("code", resource.code.coding[0].code),
                    ("status", resource.status),
                    ("date", exam.effective),
                    ("patient", exam.patient.identifier.value),
                ):
                    session.add(Token(resource=resource.id, parameter=parameter, value=value))
            session.commit()
        return Response(bundle.model_dump_json(), 201, media_type="application/fhir+json")

    return app


def main() -> None:
    """Serve on the port that the command line names."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    app = create_app(os.environ["PEER_DATABASE"])
    uvicorn.run(app, host="127.0.0.1", port=parser.parse_args().port, access_log=False)


if __name__ == "__main__":
    main()
