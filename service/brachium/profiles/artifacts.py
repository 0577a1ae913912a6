"""Every StructureDefinition, ValueSet and NamingSystem of this service, made once at start-up."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding.fhir import OwnUrls
from brachium.profiles.base import base
from brachium.profiles.exam_rows import exam, own_extensions
from brachium.profiles.finding_rows import findings
from brachium.profiles.rows import Profile
from brachium.profiles.structure import structure
from brachium.profiles.value_sets import value_sets

if TYPE_CHECKING:
    from brachium.tables.load import Tables

Json: TypeAlias = Any


def profiles(canonical: str) -> tuple[Profile, ...]:
    """Return every profile and extension of ours."""
    return (*findings(canonical), *exam(canonical), *own_extensions(canonical))


def artifacts(tables: Tables, canonical: str, version: str) -> Iterator[Mapping[str, Json]]:
    """Yield every resource; ``version`` is that of the software, which makes the profiles."""
    for profile in profiles(canonical):
        yield structure(profile, base(), canonical, version)
    for name, title, include in value_sets(tables, canonical):
        yield _value_set(name, title, include, tables, canonical)
    yield from naming_systems(tables, canonical)


def _value_set(name: str, title: str, include: list[Json], tables: Tables, canonical: str) -> Json:
    return {
        "resourceType": "ValueSet",
        "id": name,
        "url": f"{canonical}/ValueSet/{name}",
        "version": tables.edition,
        "name": "".join(part.capitalize() for part in name.split("-")),
        "title": title,
        "status": "active",
        "experimental": False,
        **edition_date(tables),
        "immutable": False,
        "compose": {"include": include},
    }


def edition_date(tables: Tables) -> dict[str, str]:
    """Return ``date`` of what is made of the tables: the month that names their edition."""
    found = re.match(r"(\d{4})\.(0[1-9]|1[0-2])\b", tables.edition)
    return {"date": f"{found[1]}-{found[2]}"} if found else {}


def naming_systems(tables: Tables, canonical: str) -> Iterator[Json]:
    """Yield a NamingSystem for each system of codes or identifiers that is ours."""
    urls = OwnUrls(canonical)
    yield _naming("arm-exam", "codesystem", urls.concepts, "Concepts of arm examinations.", tables)
    for scale in sorted(tables.scales):
        yield _naming(scale, "codesystem", urls.scale(scale), f"Grades of {scale}.", tables)
    problems = f"{canonical}/CodeSystem/problem-codes"
    yield _naming("problem-codes", "codesystem", problems, "Problems named in answers.", tables)
    words = "Software that assembles: name and version, with a slash between."
    yield _naming("service", "identifier", urls.service, words, tables)
    words = "Exams as posted: the SHA-256 of their canonical JSON text, in hex."
    yield _naming("payload-sha-256", "identifier", urls.payload, words, tables)


def _naming(name: str, kind: str, url: str, words: str, tables: Tables) -> Json:
    return {
        "resourceType": "NamingSystem",
        "id": name,
        "name": "".join(part.capitalize() for part in name.split("-")),
        "status": "active",
        "kind": kind,
        # a NamingSystem has to have a date, an edition may have any name
        "date": edition_date(tables).get("date", "2026"),
        "description": words,
        "uniqueId": [{"type": "uri", "value": url, "preferred": True}],
    }
