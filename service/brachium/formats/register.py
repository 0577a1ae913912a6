"""Every form an exam can leave in: name to media type and writer. A new format is a row here."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from brachium.formats.codings import CodingRow, as_csv, as_json
from brachium.formats.collection import collection
from brachium.formats.document import document
from brachium.formats.outgoing import Outgoing
from brachium.formats.transaction import transaction

FHIR_JSON = "application/fhir+json"


@dataclass(frozen=True, slots=True)
class BundleFormat:
    """A kind of bundle: ``write`` returns its bytes."""

    media_type: str
    write: Callable[[Outgoing], bytes]
    needs_composition: bool = False


@dataclass(frozen=True, slots=True)
class TableFormat:
    """A kind of table: ``write`` returns its bytes."""

    media_type: str
    write: Callable[[Iterable[CodingRow]], bytes]


BUNDLES: Mapping[str, BundleFormat] = {
    "collection": BundleFormat(FHIR_JSON, collection),
    "transaction": BundleFormat(FHIR_JSON, transaction),
    "document": BundleFormat(FHIR_JSON, document, needs_composition=True),
}

TABLES: Mapping[str, TableFormat] = {
    "csv": TableFormat("text/csv; charset=utf-8", as_csv),
    "json": TableFormat("application/json", as_json),
}
