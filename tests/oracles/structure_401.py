"""The models of fhirclient, generated from exactly 4.0.1; they refuse fields they do not know."""

from __future__ import annotations

from fhirclient.models import fhirelementfactory
from fhirclient.models.fhirabstractbase import FHIRValidationError
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json, plain

ORACLE = "structure-4.0.1"


def complaints(resource: Json) -> list[Complaint]:
    """Judge a bundle or a single resource."""
    name = str(resource.get("resourceType"))
    try:
        model = fhirelementfactory.FHIRElementFactory.instantiate(name, None)
        model.__class__(plain(resource), strict=True).as_json()
    except FHIRValidationError as error:
        return [Complaint(ORACLE, where, message) for where, message in _leaves(error, name)]
    except Exception as error:  # noqa: BLE001 - the models raise bare Exception for odd input
        return [Complaint(ORACLE, name, f"{type(error).__name__}: {error}")]
    return []


def _leaves(error: FHIRValidationError, where: str) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for inner in error.errors:
        if isinstance(inner, FHIRValidationError):
            found += _leaves(inner, f"{where}.{inner.path}")
        else:
            found.append((where, str(inner)))
    return found
