"""What a program written with fhirpy finds: ``python with_fhirpy.py BASE ASKED``."""

from __future__ import annotations

import json
import sys

from fhirpy import SyncFHIRClient


def main(base: str, asked: dict[str, str]) -> dict[str, int]:
    client = SyncFHIRClient(f"{base}/fhir")
    patient = client.resources("Patient").search(identifier=asked["identifier"]).get()
    observations = client.resources("Observation")
    mine = observations.search(patient=patient.id)
    reports = client.resources("DiagnosticReport").search(patient=patient.to_reference())
    panel = observations.search(_id=asked["panel"]).include("Observation", "has-member").fetch_raw()
    members = [entry for entry in panel.entry if entry["search"]["mode"] == "include"]
    report = client.reference("DiagnosticReport", asked["report"]).to_resource()
    report.refresh()
    history = client.execute(f"DiagnosticReport/{asked['report']}/_history", method="get")
    return {
        "patients": client.resources("Patient").count(),
        "observations": observations.count(),
        "reports": len(client.resources("DiagnosticReport").limit(100).fetch_all()),
        "patient": len(mine.limit(70).fetch_all()),
        "reports of patient": len(reports.fetch_all()),
        "coded": mine.search(code=asked["code"]).count(),
        "withdrawn": len(mine.search(status="entered-in-error").fetch_all()),
        "since february": len(reports.search(date__ge="2026-02-01").sort("-date").fetch_all()),
        "members": len(members),
        "versions": history["total"],
    }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], json.loads(sys.argv[2]))))
