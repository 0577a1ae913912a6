"""The service itself as a Device: the software that assembled every resource."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from brachium.coding.fhir import OwnUrls

if TYPE_CHECKING:
    from brachium.api.definitions import Material


def resources(material: Material) -> Iterator[Mapping[str, Any]]:
    """Yield the Device; its identifier is that of the assembler in every Provenance."""
    tables, version = material.tables, material.version
    value = f"brachium/{version}"
    yield {
        "resourceType": "Device",
        "id": "brachium",
        "identifier": [{"system": OwnUrls(material.canonical).service, "value": value}],
        "status": "active",
        "deviceName": [{"name": "brachium", "type": "manufacturer-name"}],
        "type": {"text": "Software that checks and codes examination findings"},
        "version": [
            {"type": {"text": "software"}, "value": version},
            {"type": {"text": "coding tables"}, "value": tables.edition},
            {"type": {"text": "coding tables, sha-256"}, "value": tables.digest},
        ],
        "url": f"{material.settings.public_base}/fhir",
    }
