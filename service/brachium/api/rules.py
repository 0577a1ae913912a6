"""The table of rules as an answer, and as the code system that names them in outcomes (ERR-04)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import orjson

from brachium.api import bulk_faults, fhir_refused, requests, search_query
from brachium.api.faults import STATUSES
from brachium.bulk import lines
from brachium.coding import response_problems, vocabulary
from brachium.exam import shape_codes
from brachium.formats import incoming
from brachium.intake import refusals
from brachium.problems import Listed, Severity
from brachium.profiles import remarks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.exam.rule import Rule


def listed(model: Iterable[Rule]) -> tuple[Listed, ...]:
    """Return every code that answers carry: of the model, of the service, and the others."""
    rows = [Listed(r.code, r.severity, r.title, r.reason, r.remedy, r.source) for r in model]
    # two exceptions may share one row
    faults = {found.code: found for found in STATUSES.values()}
    rows += [
        Listed(r.code, Severity.ERROR, r.title, "", r.remedy, r.source) for r in faults.values()
    ]
    below = (shape_codes, incoming, response_problems, refusals, vocabulary, remarks, lines)
    for owner in (*below, requests, search_query, fhir_refused, bulk_faults):
        rows += owner.LISTED
    return tuple(sorted(rows, key=lambda row: row.code))


def rules_json(rows: Iterable[Listed], edition: str) -> bytes:
    """Return the rules as JSON for ``GET /rules``."""
    return orjson.dumps({"edition": edition, "rules": list(rows)})
