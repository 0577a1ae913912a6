"""Our bundle back to the exam it was made of, without loss (derived values left out).

The reverse of :mod:`brachium.coding.encode`, for bundles this service made. Findings come out
sorted by key, as in the canonical text of an exam.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from brachium.coding.decode_finding import finding_of, side_problem
from brachium.coding.fhir import OwnUrls
from brachium.coding.lexicon import Reader, words_of
from brachium.problems import Problem
from brachium.tables.load import Tables

# members of a finding that hold several words, so that they come back as a list
_LISTS = ("limitedBy",)
_ABSENT = ("reason", "because")


class Decoded(NamedTuple):
    """The exam as posted JSON, and what contradicts itself in the bundle (OBS-05)."""

    exam: dict[str, Any]
    problems: tuple[Problem, ...]


class Unreadable(LookupError):
    """A resource that does not say what one of ours says in its place; ``resource`` is its id."""

    def __init__(self, resource: str) -> None:
        super().__init__(resource)
        self.resource = resource


@contextmanager
def _within(resource: dict[str, Any]) -> Iterator[None]:
    try:
        yield
    except Unreadable:
        raise
    except (LookupError, TypeError, ValueError, AttributeError, StopIteration) as error:
        raise Unreadable(str(resource.get("id"))) from error


def decode(bundle: dict[str, Any], tables: Tables, canonical: str) -> Decoded:
    """Return the exam of a bundle; numbers must be parsed as ``Decimal`` to keep their digits.

    ``canonical`` is the base of our own URLs. Raises ``LookupError`` when the bundle is not one of
    ours (no report, an own code that the tables lack); :class:`Unreadable` tells which resource.
    """
    resources = [entry["resource"] for entry in bundle["entry"]]
    urls = OwnUrls(canonical)
    report = _only(resources, "DiagnosticReport")
    leaves = list(_leaves(resources, report))
    reader, words = Reader(urls), words_of(tables)
    found, problems = [], []
    for key, leaf in leaves:
        with _within(leaf):
            found.append((key, finding_of(leaf, reader, words)))
            problem = side_problem(leaf, tables, canonical)
        problems += [] if problem is None else [problem]
    exam: dict[str, Any] = {
        "patient": _patient(_only(resources, "Patient"), reader),
        "examiner": _party(_only(resources, "Practitioner")),
        "facility": _party(_only(resources, "Organization")),
    }
    with _within(report):
        extensions = _extensions(report, urls)
        skipped = [_entry(one) for one in extensions.get("not-examined", ())]
        exam |= _header(report, extensions)
        findings = [*_joined(found), *skipped]
        exam["findings"] = sorted(findings, key=lambda one: str(one["key"]))
    return Decoded(exam, tuple(problems))


def _header(report: dict[str, Any], extensions: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    header = {
        "identifier": report["identifier"][0],
        "status": _status(report, extensions),
        "effective": report["effectiveDateTime"],
    }
    if "encounter" in report:
        header["encounter"] = {"identifier": report["encounter"]["identifier"]}
    if "exam-note" in extensions:
        header["note"] = extensions["exam-note"][0]["valueString"]
    return header


def _party(resource: dict[str, Any]) -> dict[str, Any]:
    with _within(resource):
        return {"identifier": resource["identifier"][0]}


def _only(resources: Iterable[dict[str, Any]], kind: str) -> dict[str, Any]:
    found = [one for one in resources if one["resourceType"] == kind]
    if len(found) != 1:
        raise LookupError(f"{len(found)} {kind} where one is expected")
    return found[0]


def _leaves(
    resources: list[dict[str, Any]], report: dict[str, Any]
) -> Iterable[tuple[str, dict[str, Any]]]:
    """Yield leaf key and Observation of everything that is neither a panel nor computed.

    What an earlier version had and this one has not is in no panel of the report any more; its
    status does not tell, because a withdrawn exam is entered in error as a whole.
    """
    named = {f"{one['resourceType']}/{one['id']}": one for one in resources}
    with _within(report):
        prefix = report["identifier"][0]["value"] + "/"
        panels = [named[result["reference"]] for result in report.get("result", ())]
    for panel in panels:
        with _within(panel):
            members = [named[one["reference"]] for one in panel.get("hasMember", ())]
        for member in members:
            if "derivedFrom" not in member:
                with _within(member):
                    key = member["identifier"][0]["value"].removeprefix(prefix)
                yield key, member


def _joined(found: list[tuple[str, dict[str, Any]]]) -> Iterable[dict[str, Any]]:
    """Yield findings; the two sides of an expanded "both" become one again (EXM-10)."""
    for key, finding in found:
        base, slash, side = key.partition("/")
        if not slash:
            yield {"key": key, **finding}
        elif side == "left":
            yield {"key": base, **finding, "side": "both"}


def _extensions(report: dict[str, Any], urls: OwnUrls) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for extension in report.get("extension", ()):
        name = extension["url"].removeprefix(urls.definition(""))
        found.setdefault(name, []).append(extension)
    return found


def _entry(extension: dict[str, Any]) -> dict[str, Any]:
    finding: dict[str, Any] = {}
    for part in extension["extension"]:
        name, word = part["url"], part["valueString"]
        if name in _LISTS:
            finding.setdefault(name, []).append(word)
        elif name in _ABSENT:
            finding.setdefault("absent", {})[name] = word
        else:
            finding[name] = word
    return finding


def _status(report: dict[str, Any], extensions: dict[str, list[dict[str, Any]]]) -> str:
    if "exam-status" in extensions:
        posted: str = extensions["exam-status"][0]["valueCode"]
        return posted
    return "preliminary" if report["status"] == "preliminary" else "final"


def _patient(resource: dict[str, Any], reader: Reader) -> dict[str, Any]:
    url = reader.urls.definition("dominant-hand")
    with _within(resource):
        dominant = next(e for e in resource["extension"] if e["url"] == url)
        return {
            "identifier": resource["identifier"][0],
            "birthDate": resource["birthDate"],
            "sex": resource["gender"],
            "dominantHand": reader.word(dominant["valueCodeableConcept"], "dominant-"),
        }
