"""Rules about a bundle as a whole, in plain Python: bdl-*, references, emptiness, code pairs."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import unquote

from tests.oracles.book import EXTENSIONS, Book
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json
from tests.oracles.graph import Graph, references
from tests.oracles.reading import ORDINAL

ORACLE = "bundle-rules"
_REQUESTS = {"batch", "transaction", "history"}
_RESPONSES = {"batch-response", "transaction-response", "history"}
_UUID = re.compile(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")

Found = Iterator[tuple[str, str]]
Rule = Callable[[Json, Book], Found]


def complaints(bundle: Json, book: Book) -> list[Complaint]:
    """Judge a bundle by every rule below."""
    return [
        Complaint(ORACLE, where, f"{name}: {message}")
        for name, rule in RULES.items()
        for where, message in rule(bundle, book)
    ]


def _entries(bundle: Json) -> Iterator[tuple[str, Json]]:
    return ((f"Bundle.entry[{n}]", entry) for n, entry in enumerate(bundle.get("entry", ())))


def envelope(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """bdl-1, bdl-2, bdl-9, bdl-10, bdl-11: what each type of bundle may and must hold."""
    kind = bundle.get("type")
    if "total" in bundle and kind not in {"searchset", "history"}:
        yield "Bundle.total", "bdl-1: total outside searchset and history"
    if kind == "document":
        identifier = bundle.get("identifier", {})
        if not identifier.get("system") or not identifier.get("value"):
            yield "Bundle.identifier", "bdl-9: a document needs an identifier"
        if not bundle.get("timestamp"):
            yield "Bundle.timestamp", "bdl-10: a document needs a timestamp"
        first = next((entry for _, entry in _entries(bundle)), {})
        if first.get("resource", {}).get("resourceType") != "Composition":
            yield "Bundle.entry[0]", "bdl-11: a document starts with its Composition"


def entries(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """bdl-2 to bdl-5 and BND-01: what each entry may and must hold."""
    kind = bundle.get("type")
    for where, entry in _entries(bundle):
        if "search" in entry and kind != "searchset":
            yield where, "bdl-2: search outside a searchset"
        if ("request" in entry) != (kind in _REQUESTS):
            yield where, "bdl-3: request exactly in batch, transaction and history"
        if ("response" in entry) != (kind in _RESPONSES):
            yield where, "bdl-4: response exactly in answers and history"
        if not {"resource", "request", "response"} & entry.keys():
            yield where, "bdl-5: an empty entry"
        if (
            kind in {"collection", "document", "transaction"}
            and not {
                "fullUrl",
                "resource",
            }
            <= entry.keys()
        ):
            yield where, "every entry needs fullUrl and resource"


def full_urls(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """bdl-7, bdl-8 and BND-04: fullUrls are distinct, unversioned and fit the resource."""
    if bundle.get("type") != "history":
        found = Counter(entry["fullUrl"] for _, entry in _entries(bundle) if "fullUrl" in entry)
        yield from ((url, "bdl-7: fullUrl twice") for url, count in found.items() if count > 1)
    for where, entry in _entries(bundle):
        url, resource = entry.get("fullUrl"), entry.get("resource", {})
        if url is None:
            continue
        if "/_history/" in url:
            yield where, "bdl-8: a versioned fullUrl"
        if url.startswith("urn:"):
            if not _UUID.fullmatch(url):
                yield where, "fullUrl is not a lower-case UUID"
        elif not url.endswith(f"/{resource.get('resourceType')}/{resource.get('id')}"):
            yield where, "fullUrl and resource id differ"


def dangling(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """Every literal reference leads to a resource of the bundle, or is conditional."""
    graph = Graph.of(bundle)
    for number, (_, resource) in enumerate(graph.entries):
        inside = {f"#{part.get('id')}" for part in resource.get("contained", ())}
        for where, reference in references(resource, f"Bundle.entry[{number}].resource"):
            target = reference["reference"]
            conditional = bundle.get("type") == "transaction" and "?" in target
            if not conditional and target not in inside and graph.resolve(target) is None:
                yield where, f"leads nowhere: {target}"


def transaction(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """TXN-09: a transaction is ready to POST, and posting it twice creates once."""
    if bundle.get("type") != "transaction":
        return
    for where, entry in _entries(bundle):
        request, resource = entry.get("request", {}), entry.get("resource", {})
        name = resource.get("resourceType")
        if (request.get("method"), request.get("url")) != ("POST", name):
            yield where, "request must be POST to the type"
        if "id" in resource or {"versionId", "lastUpdated"} & resource.get("meta", {}).keys():
            yield where, "server id or version in an outbound resource"
        identifier = next(iter(resource.get("identifier", ())), None)
        if isinstance(identifier, dict) and name != "Bundle":
            wanted = f"identifier={identifier.get('system')}|{identifier.get('value')}"
            if unquote(request.get("ifNoneExist", "")) != wanted:
                yield where, "ifNoneExist must name the identifier"


def empty(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """NEG-08: no empty string, array or object; null only pads arrays with extensions."""
    yield from _empty(bundle, "Bundle", padded=False)


def _empty(value: Any, where: str, *, padded: bool) -> Found:
    if value is None and not padded:
        yield where, "null"
    elif isinstance(value, str) and not value.strip():
        yield where, "an empty string"
    elif isinstance(value, (list, dict)) and not value:
        yield where, "an empty array or object"
    elif isinstance(value, dict):
        for key, member in value.items():
            twin = key[1:] if key.startswith("_") else f"_{key}"
            pads = isinstance(value.get(twin), list) and isinstance(member, list)
            yield from _members(member, f"{where}.{key}", padded=pads)
    elif isinstance(value, list):
        yield from _members(value, where, padded=False)


def _members(value: Any, where: str, *, padded: bool) -> Found:
    if isinstance(value, list) and value:
        for number, member in enumerate(value):
            yield from _empty(member, f"{where}[{number}]", padded=padded)
    else:
        yield from _empty(value, where, padded=False)


def pairs(bundle: Json, book: Book) -> Found:
    """Every coding's system, code and display are those of the tables (TRM-02)."""
    for where, coding in _codings(bundle, "Bundle"):
        key = (coding.get("system", ""), coding.get("code", ""))
        if key not in book.displays:
            yield where, f"not in the tables: {key[0]}|{key[1]}"
        elif coding.get("display", book.displays[key]) != book.displays[key]:
            yield where, f"display of {key[1]} is {book.displays[key]!r} in the tables"


def _codings(value: Any, where: str) -> Iterator[tuple[str, Json]]:
    if isinstance(value, dict):
        for key, member in value.items():
            spot = f"{where}.{key}"
            if key in {"coding", "tag", "security"} and isinstance(member, list):
                yield from ((spot, item) for item in member if isinstance(item, dict))
            elif key == "valueCoding" and isinstance(member, dict):
                yield spot, member
            else:
                yield from _codings(member, spot)
    elif isinstance(value, list):
        for number, member in enumerate(value):
            yield from _codings(member, f"{where}[{number}]")


def narrative(bundle: Json, book: Book) -> Found:  # noqa: ARG001
    """OBS-18, BND-02: reports carry a narrative, documents carry one in every section."""
    for where, entry in _entries(bundle):
        resource = entry.get("resource", {})
        if resource.get("resourceType") == "DiagnosticReport":
            told = [resource]
        elif resource.get("resourceType") == "Composition":
            told = resource.get("section", [resource])
        else:
            continue
        if not all(part.get("text", {}).get("div") for part in told):
            yield where, "no narrative"


def extensions(bundle: Json, book: Book) -> Found:
    """Every extension is HL7's or one of our own that we know."""
    base = f"{book.canonical}/StructureDefinition/"
    for where, url in _extension_urls(bundle, "Bundle"):
        own = url.startswith(base) and url.removeprefix(base) in EXTENSIONS
        if not own and not url.startswith("http://hl7.org/fhir/StructureDefinition/"):
            yield where, f"unknown extension {url}"


def _extension_urls(value: Any, where: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, member in value.items():
            spot = f"{where}.{key}"
            if key in {"extension", "modifierExtension"} and isinstance(member, list):
                yield from ((spot, str(item.get("url"))) for item in member)
                # the parts of a complex extension have names, not URLs, so they are not visited
            else:
                yield from _extension_urls(member, spot)
    elif isinstance(value, list):
        for number, member in enumerate(value):
            yield from _extension_urls(member, f"{where}[{number}]")


def ordinals(bundle: Json, book: Book) -> Found:
    """An ordinal stands only on a grade of a scale."""
    for where, coding in _codings(bundle, "Bundle"):
        stated = any(e.get("url") == ORDINAL for e in coding.get("extension", ()))
        if stated and (coding.get("system"), coding.get("code")) not in book.grades:
            yield where, "an ordinal on something that is no grade"


RULES: dict[str, Rule] = {
    "envelope": envelope,
    "entries": entries,
    "full-urls": full_urls,
    "dangling": dangling,
    "transaction": transaction,
    "neg-08": empty,
    "trm-02": pairs,
    "obs-18": narrative,
    "extensions": extensions,
    "ordinals": ordinals,
}
