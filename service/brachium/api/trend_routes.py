"""The routes of trends with what the OpenAPI document says about them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.api import faults
from brachium.api.described import answer, body
from brachium.api.described import faults as failing
from brachium.api.routes import Table

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.trends import TrendPages

_EXAMPLE = {
    "identifier": {"system": "https://saltmarsh.example.org/fid/patient", "value": "P-0110"}
}


def add_trends(app: FastAPI, pages: TrendPages) -> None:
    """Add the operations that follow a patient's measures."""
    table = Table(app, "Exams out")
    found = answer("Trend", "Every measure as a series over all exams of the patient.")
    reading = failing(
        faults.BadParameter,
        faults.NotFound,
        faults.NotAcceptable,
        faults.Unavailable,
        faults.TooLarge,
        faults.Unforeseen,
    )
    path = "/patients/{patient_id}/trend"
    table.add("GET", path, pages.of_patient, "Follow a patient", {200: found, **reading})
    asking = failing(faults.NotJson, faults.BadParameter, faults.WrongMediaType, faults.Refused)
    table.add(
        "POST",
        "/patients/trend",
        pages.of_identifier,
        "Follow a patient by identifier",
        {200: found, **reading, **asking},
        body("PatientAsked", _EXAMPLE),
    )
