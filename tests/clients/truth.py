"""What the database holds, counted in SQL without the service, for clients to be compared with."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

CODE = "http://terminology.hl7.org/CodeSystem/observation-category"


class Truth:
    """The newest version of every resource, read straight from the file."""

    def __init__(self, database: Path) -> None:
        with sqlite3.connect(f"file:{database}?mode=ro", uri=True) as db:
            rows = db.execute("SELECT type, id, version, text FROM resource_version").fetchall()
        newest: dict[tuple[str, str], tuple[int, bytes]] = {}
        self.versions: dict[str, int] = {}
        for kind, identity, version, text in rows:
            key = (kind, identity)
            newest[key] = max(newest.get(key, (0, b"")), (version, text))
            self.versions[f"{kind}/{identity}"] = newest[key][0]
        self.resources: dict[str, list[dict[str, Any]]] = {}
        for (kind, _), (_, text) in newest.items():
            self.resources.setdefault(kind, []).append(json.loads(text))

    def count(self, kind: str) -> int:
        return len(self.resources[kind])

    def of_patient(self, kind: str, patient: str) -> list[dict[str, Any]]:
        reference = f"Patient/{patient}"
        return [r for r in self.resources[kind] if r["subject"]["reference"] == reference]

    def patient(self, value: str) -> str:
        found = [r for r in self.resources["Patient"] if r["identifier"][0]["value"] == value]
        return str(found[0]["id"])

    def told(self) -> dict[str, Any]:
        """Every figure that a client's script has to find by itself."""
        patient = self.patient("CLP-10")
        mine = self.of_patient("Observation", patient)
        reports = self.of_patient("DiagnosticReport", patient)
        code = mine[0]["code"]["coding"][0]
        coded = [
            one
            for one in mine
            if any(
                (c["system"], c["code"]) == (code["system"], code["code"])
                for c in one["code"]["coding"]
            )
        ]
        panel = next(one for one in sorted(mine, key=lambda one: one["id"]) if "hasMember" in one)
        return {
            "patients": self.count("Patient"),
            "observations": self.count("Observation"),
            "reports": self.count("DiagnosticReport"),
            "patient": len(mine),
            "reports of patient": len(reports),
            "coded": len(coded),
            "withdrawn": sum(one["status"] == "entered-in-error" for one in mine),
            "since february": sum(one["effectiveDateTime"] >= "2026-02-01" for one in reports),
            "members": len(panel["hasMember"]),
            "versions": self.versions[f"DiagnosticReport/{reports[0]['id']}"],
        }

    def asked(self) -> dict[str, str]:
        """What the scripts are told to look for."""
        patient = self.patient("CLP-10")
        mine = self.of_patient("Observation", patient)
        code = mine[0]["code"]["coding"][0]
        panel = next(one for one in sorted(mine, key=lambda one: one["id"]) if "hasMember" in one)
        identifier = next(
            r["identifier"][0] for r in self.resources["Patient"] if r["id"] == patient
        )
        return {
            "identifier": f"{identifier['system']}|{identifier['value']}",
            "code": f"{code['system']}|{code['code']}",
            "panel": panel["id"],
            "report": self.of_patient("DiagnosticReport", patient)[0]["id"],
        }
