"""What a program written with fhir-pyrate finds: ``python with_pyrate.py BASE ASKED``."""

from __future__ import annotations

import json
import sys

from fhir_pyrate import Pirate


def main(base: str, asked: dict[str, str]) -> dict[str, int]:
    with Pirate(f"{base}/fhir", auth=None, default_count=90) as reader:

        def rows(kind: str, where: dict[str, object]) -> int:
            found = reader.steal_bundles_to_dataframe(kind, where, fhir_paths=[("id", "id")])
            return found["id"].nunique()

        patients = reader.steal_bundles_to_dataframe(
            "Patient", {"identifier": asked["identifier"]}, fhir_paths=[("id", "id")]
        )
        mine = {"patient": patients["id"][0]}
        per_patient = reader.trade_rows_for_dataframe(
            patients, "Observation", {"patient": "id"}, fhir_paths=[("observation", "id")]
        )
        return {
            "patients": rows("Patient", {}),
            "observations": reader.get_bundle_total("Observation"),
            "reports": rows("DiagnosticReport", {}),
            "patient": per_patient["observation"].nunique(),
            "reports of patient": rows("DiagnosticReport", mine),
            "coded": rows("Observation", {**mine, "code": asked["code"]}),
            "withdrawn": rows("Observation", {**mine, "status": "entered-in-error"}),
            "since february": rows("DiagnosticReport", {**mine, "date": "ge2026-02-01"}),
        }


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], json.loads(sys.argv[2]))))
