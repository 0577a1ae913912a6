"""Write with fhirpy and read again: ``python writing_with_fhirpy.py BASE BUNDLE RESPONSE``."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from fhirpy import SyncFHIRClient


def main(base: str, bundle: Any, response: Any) -> dict[str, Any]:
    client = SyncFHIRClient(f"{base}/fhir")
    answer = client.execute("", method="post", data=bundle)
    told = [entry["response"] for entry in answer["entry"]]
    written = ["/".join(one["location"].split("/")[-4:-2]) for one in told]
    report = next(name for name in written if name.startswith("DiagnosticReport/"))
    form = client.resource(**{**response, "resource_type": "QuestionnaireResponse"})
    form.save()
    kept = client.reference("QuestionnaireResponse", form.id).to_resource()
    own = [name for name in written if name.startswith("Observation/")]
    found = client.resources("Observation").search(_id=",".join(n.split("/")[1] for n in own))
    assert client.get(report)["id"] == report.split("/")[1]
    return {
        "statuses": [one["status"][:3] for one in told],
        "written": written,
        "observations": len(found.fetch_all()),
        "form": form.id,
        "items": kept.serialize()["item"],
    }


if __name__ == "__main__":
    resources = [json.loads(Path(name).read_text()) for name in sys.argv[2:4]]
    sys.stdout.write(json.dumps(main(sys.argv[1], *resources)))
