"""The views that come with the service: ViewDefinitions in files beside this module."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import orjson

from brachium.flat.views import View, view

FOLDER = Path(__file__).parent / "views"
# the base of our own code systems in the files; a site's own stands in its place
PUBLISHED = "https://brachium.example.org/fhir"


def definitions(canonical: str) -> Mapping[str, View]:
    """Return every view by its name, with the addresses of this site; raises ``BrokenView``."""
    texts = (path.read_text(encoding="utf-8") for path in sorted(FOLDER.glob("*.json")))
    found = (view(orjson.loads(text.replace(PUBLISHED, canonical))) for text in texts)
    return {one.name: one for one in found}
