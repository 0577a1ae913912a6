"""What a program written with fhirclient finds: ``python with_fhirclient.py BASE ASKED``."""

from __future__ import annotations

import json
import sys

from fhirclient import client
from fhirclient.models.bundle import Bundle
from fhirclient.models.diagnosticreport import DiagnosticReport
from fhirclient.models.observation import Observation
from fhirclient.models.patient import Patient


def main(base: str, asked: dict[str, str]) -> dict[str, int]:
    smart = client.FHIRClient(settings={"app_id": "reader", "api_base": f"{base}/fhir"})
    server = smart.server

    def every(kind: type, where: dict[str, object]) -> list[object]:
        return list(kind.where({**where, "_count": "90"}).perform_resources_iter(server))

    (patient,) = Patient.where({"identifier": asked["identifier"]}).perform_resources(server)
    report = DiagnosticReport.read(asked["report"], server)
    mine = {"patient": patient.id}
    panel = Observation.where({"_id": asked["panel"], "_include": "Observation:has-member"})
    found = panel.perform(server)
    history = Bundle.read_from(f"DiagnosticReport/{report.id}/_history", server)
    return {
        "patients": len(every(Patient, {})),
        "observations": Observation.where({"_summary": "count"}).perform(server).total,
        "reports": len(every(DiagnosticReport, {})),
        "patient": len(every(Observation, mine)),
        "reports of patient": len(every(DiagnosticReport, mine)),
        "coded": len(every(Observation, {**mine, "code": asked["code"]})),
        "withdrawn": len(every(Observation, {**mine, "status": "entered-in-error"})),
        "since february": len(every(DiagnosticReport, {**mine, "date": "ge2026-02-01"})),
        "members": sum(entry.search.mode == "include" for entry in found.entry),
        "versions": history.total,
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], json.loads(sys.argv[2]))))
