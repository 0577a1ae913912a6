"""A posted transaction or batch: its entries, read without understanding what is in them.

Everything a bundle may say about how it is to be processed is either honoured or refused here
(FHIR R4 http 3.1.0.11.2); places are FHIRPaths such as ``Bundle.entry[5].request.url``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, NamedTuple
from urllib.parse import parse_qsl

import jiter
import orjson

from brachium.formats.element_names import told
from brachium.problems import Listed, Problem, Severity

Json = dict[str, Any]

# what the largest exam becomes stays below: 2000 findings on two sides, and what is worked out
MOST_ENTRIES = 6000

_SOURCE = "FHIR R4 bundle 2.36.4, http 3.1.0.11.2"
_UNFIT = Listed(
    "bundle-unfit",
    Severity.ERROR,
    "The bundle cannot be processed as it is.",
    "Each entry says what is to be done with it; what is not understood is not passed over.",
    "Send a Bundle of type transaction or batch whose entries have fullUrl, resource and request.",
    _SOURCE,
)
_TWICE = Listed(
    "identity-twice",
    Severity.ERROR,
    "Two entries of a transaction are about the same resource.",
    "A transaction has no order, so it could not be told which of them holds.",
    "Send each resource once.",
    "FHIR R4 http 3.1.0.11.2; bdl-7",
)
LISTED = (_UNFIT, _TWICE)

_BUNDLE = frozenset({"resourceType", "id", "meta", "identifier", "type", "timestamp", "entry"})
_ENTRY = frozenset({"fullUrl", "resource", "request"})
_REQUEST = frozenset({"method", "url", "ifNoneExist", "ifMatch"})
_META = frozenset({"versionId", "lastUpdated", "profile", "source"})
_TOKEN = re.compile(r"((?:[^\\|,]|\\.)+)\|((?:[^\\|,]|\\.)+)", re.DOTALL)
_LONG = re.compile(rb"\d{19}")
_ETAG = re.compile(r'(?:W/)?"([1-9]\d{0,8})"')


class Identity(NamedTuple):
    """A resource by its business identifier."""

    type: str
    system: str
    value: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a transaction.

    ``identity`` is empty for a resource without identifier; ``conditional`` tells whether it has
    ifNoneExist; ``expected`` is the version in ifMatch.
    """

    index: int
    full_url: str
    resource: Json
    method: str
    identity: Identity | None
    conditional: bool
    expected: int | None

    @property
    def type(self) -> str:
        """The resource type."""
        return str(self.resource["resourceType"])

    @property
    def name(self) -> str:
        """What references inside the bundle call the resource, while nothing else does."""
        return f"{self.type}/e{self.index}"

    @property
    def place(self) -> str:
        """The path of the resource in the bundle."""
        return f"Bundle.entry[{self.index}].resource"


class Incoming(NamedTuple):
    """The entries, or everything that is wrong with them."""

    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...]


def parse(raw: bytes) -> Any:  # noqa: ANN401 - JSON
    """Return posted JSON, fractions as ``Decimal``; ``ValueError`` for what is not JSON.

    Whole numbers of more than 64 bits are ``Decimal`` too, because nothing writes them otherwise.
    """
    found = jiter.from_json(
        raw, float_mode="decimal", catch_duplicate_keys=True, allow_inf_nan=False
    )
    return _bounded(found) if _LONG.search(raw) else found


def _bounded(value: Any) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, list):
        return [_bounded(one) for one in value]
    if isinstance(value, dict):
        return {name: _bounded(one) for name, one in value.items()}
    return Decimal(value) if type(value) is int and abs(value) >= 1 << 63 else value


def write(value: Any) -> bytes:  # noqa: ANN401 - JSON
    """Return JSON text of what :func:`parse` gave, with the digits it came with."""
    return orjson.dumps(value, default=_digits)


def _digits(value: object) -> orjson.Fragment:
    if isinstance(value, Decimal):
        # never written out: what a few characters say could take gigabytes
        return orjson.Fragment(str(value))
    raise TypeError(type(value).__name__)


def bundle_type(bundle: object) -> str | None:
    """Return the type of a Bundle, or ``None`` for anything else."""
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        return None
    kind = bundle.get("type")
    return kind if isinstance(kind, str) else None


def is_too_long(bundle: Json) -> bool:
    """Tell whether a bundle has more entries than the service takes (TXN-11)."""
    entries = bundle.get("entry")
    return isinstance(entries, list) and len(entries) > MOST_ENTRIES


def listed_entries(bundle: Json) -> tuple[list[Any], tuple[Problem, ...]]:
    """Return the entries as they stand, or why there are none that can be processed."""
    entries = bundle.get("entry")
    if not isinstance(entries, list) or not entries:
        return [], (unfit("Bundle.entry", "The bundle has no list of entries.", "required"),)
    strange = sorted(set(bundle) - _BUNDLE)
    faults = [_unknown("Bundle", name) for name in strange]
    return entries, (*faults, *_labelled(bundle, "Bundle"))


def read(bundle: Json) -> Incoming:
    """Read the entries of a transaction."""
    listed, faults = listed_entries(bundle)
    problems = list(faults)
    entries = []
    for index, raw in enumerate(listed):
        found = list(_entry_faults(raw, f"Bundle.entry[{index}]"))
        problems += found
        if not found:
            entries.append(_entry(index, raw))
    problems += _twice(entries)
    return Incoming(tuple(entries), tuple(problems))


def placed(problem: Problem, place: str) -> Problem:
    """Return a problem with its place in the bundle."""
    return replace(problem, place=place)


def unfit(place: str, message: str, issue_type: str = "structure") -> Problem:
    """Return the problem of a bundle that cannot be processed."""
    return placed(_UNFIT.problem("", message, issue_type), place)


def _unknown(place: str, name: str) -> Problem:
    return unfit(
        told(place, name), "This element is not known here and would be lost.", "not-supported"
    )


def _entry_faults(raw: object, place: str) -> Iterator[Problem]:
    if not isinstance(raw, dict):
        yield unfit(place, "The entry is not an object.")
        return
    for name in sorted(set(raw) - _ENTRY):
        yield _unknown(place, name)
    resource, request = raw.get("resource"), raw.get("request")
    if not isinstance(resource, dict) or not isinstance(resource.get("resourceType"), str):
        yield unfit(f"{place}.resource", "The entry has no resource.", "required")
    elif not re.fullmatch(r"[A-Z][A-Za-z]{1,63}", resource["resourceType"]):
        yield unfit(f"{place}.resource", "This is not the name of a resource type.", "value")
    elif not isinstance(request, dict):
        yield unfit(f"{place}.request", "The entry does not say what to do.", "required")
    else:
        yield from _labelled(resource, f"{place}.resource")
        yield from _request_faults(request, resource, f"{place}.request")
    if not isinstance(raw.get("fullUrl"), str):
        yield unfit(f"{place}.fullUrl", "The entry has no fullUrl.", "required")


def _labelled(resource: Json, place: str) -> Iterator[Problem]:
    """Tags and security labels would be lost; those of the search (SUBSETTED) forbid a write."""
    meta = resource.get("meta", {})
    if not isinstance(meta, dict):
        yield unfit(f"{place}.meta", "meta is not an object.")
        return
    for name in sorted(set(meta) - _META):
        yield _unknown(f"{place}.meta", name)


def _request_faults(request: Json, resource: Json, place: str) -> Iterator[Problem]:
    for name in sorted(set(request) - _REQUEST):
        yield _unknown(place, name)
    wrong = [name for name in _REQUEST if not isinstance(request.get(name, ""), str)]
    if wrong:
        yield unfit(place, "A member of the request is not text.")
        return
    method, url = request.get("method"), request.get("url", "")
    if method not in ("POST", "PUT"):
        message = "A transaction here creates (POST) and updates (PUT) the resources of one exam."
        yield unfit(f"{place}.method", message, "not-supported")
        return
    kind, _, query = url.partition("?")
    if kind != resource["resourceType"]:
        yield unfit(f"{place}.url", "The address is not the type of the resource.", "value")
    elif method == "PUT":
        yield from _criteria_faults(query, resource, f"{place}.url")
    elif "ifNoneExist" in request:
        yield from _criteria_faults(request["ifNoneExist"], resource, f"{place}.ifNoneExist")
    if "ifMatch" in request and not _ETAG.fullmatch(request["ifMatch"]):
        yield unfit(f"{place}.ifMatch", 'A version is named as W/"1".', "value")


def _criteria_faults(query: str, resource: Json, place: str) -> Iterator[Problem]:
    identity = identity_of(resource)
    if identity is None or criterion(query) != (identity.system, identity.value):
        message = "The condition is not identifier=system|value of the resource itself."
        yield unfit(place, message, "value")


def alternatives(query: str) -> list[tuple[str, str] | None]:
    """Return every alternative of an ``identifier`` condition, ``None`` for what is none.

    FHIR R4 search 3.1.1.3: a comma means or. Empty for a condition of another kind.
    """
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=True, max_num_fields=4)
    except ValueError:
        return []
    if len(pairs) != 1 or pairs[0][0] != "identifier":
        return []
    return [token(part) for part in re.split(r"(?<!\\),", pairs[0][1])]


def criterion(query: str) -> tuple[str, str] | None:
    """Return system and value of ``identifier=system|value``; ``None`` for any other condition."""
    found = alternatives(query)
    return found[0] if len(found) == 1 else None


def token(text: str) -> tuple[str, str] | None:
    """Return the parts of ``system|value``, unescaped (FHIR R4 search 3.1.1.4.1)."""
    found = _TOKEN.fullmatch(text)
    if found is None:
        return None
    system, value = (re.sub(r"\\(.)", r"\1", part, flags=re.DOTALL) for part in found.groups())
    return system, value


def identity_of(resource: Json) -> Identity | None:
    """Return the identity of a resource: type and first business identifier."""
    given = resource.get("identifier")
    first = given[0] if isinstance(given, list) and given else given
    if not isinstance(first, dict):
        return None
    system, value = first.get("system"), first.get("value")
    if not isinstance(system, str) or not isinstance(value, str):
        return None
    return Identity(resource["resourceType"], system, value)


def _entry(index: int, raw: Json) -> Entry:
    request, resource = raw["request"], raw["resource"]
    named = _ETAG.fullmatch(request.get("ifMatch", ""))
    return Entry(
        index=index,
        full_url=raw["fullUrl"],
        resource=resource,
        method=request["method"],
        identity=identity_of(resource),
        conditional="ifNoneExist" in request,
        expected=int(named[1]) if named else None,
    )


def _twice(entries: Iterable[Entry]) -> Iterator[Problem]:
    urls: set[str] = set()
    names: set[Identity] = set()
    for entry in entries:
        place = f"Bundle.entry[{entry.index}]"
        if entry.full_url in urls:
            message = "An earlier entry has the same fullUrl."
            yield placed(_TWICE.problem("", message, "duplicate"), f"{place}.fullUrl")
        if entry.identity in names:
            message = "An earlier entry is about the same resource."
            yield placed(_TWICE.problem("", message, "duplicate"), f"{place}.resource")
        urls.add(entry.full_url)
        names |= {entry.identity} if entry.identity else set()
