"""All oracles over one bundle; nothing is good until none of them complains."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from tests.oracles import (
    bundle_rules,
    invariants,
    msk,
    pyrofile_oracle,
    structure_401,
    structure_r4b,
)
from tests.oracles.book import Book, from_tables
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import DefinitionsUnavailableError, Json
from tests.oracles.graph import Graph

CANONICAL = "https://brachium.example.org/fhir"

ORACLES: dict[str, Callable[[Json, Book], list[Complaint]]] = {
    "structure-r4b": lambda bundle, _: structure_r4b.complaints(bundle),
    "structure-4.0.1": lambda bundle, _: structure_401.complaints(bundle),
    "invariants": lambda bundle, _: invariants.complaints(bundle),
    "bundle-rules": bundle_rules.complaints,
    "own-rules": lambda bundle, book: msk.complaints(Graph.of(bundle), book),
    "pyrofile": lambda bundle, book: pyrofile_oracle.complaints(bundle, book.canonical),
}
STRUCTURE = ("structure-r4b", "structure-4.0.1")
FAST = (*STRUCTURE, "bundle-rules", "own-rules")


@cache
def default_book() -> Book:
    """Return the book of the tables that the service ships, under the default canonical base."""
    from brachium.tables.load import load

    return from_tables(load(), CANONICAL)


def judge(
    bundle: Json, book: Book | None = None, oracles: tuple[str, ...] = tuple(ORACLES)
) -> list[Complaint]:
    """Return every complaint of the named oracles (all by default) about a bundle.

    ``bundle`` is parsed JSON, decimals as Decimal or float. Raises DefinitionsUnavailableError when
    HL7's definitions are neither cached nor to be had.
    """
    known = book or default_book()
    return [complaint for name in oracles for complaint in _ask(name, bundle, known)]


def _ask(name: str, bundle: Json, book: Book) -> list[Complaint]:
    try:
        return ORACLES[name](bundle, book)
    except DefinitionsUnavailableError:
        raise
    except Exception as error:  # noqa: BLE001 - what an oracle cannot even read is a complaint
        return [Complaint(name, "Bundle", f"not judgeable: {type(error).__name__}: {error}")]


def judge_structure(bundle: Json) -> list[Complaint]:
    """Return the complaints of both sets of models alone: for many bundles."""
    return structure_r4b.complaints(bundle) + structure_401.complaints(bundle)


def judge_fast(bundle: Json, book: Book | None = None) -> list[Complaint]:
    """Return the complaints of everything that needs no HL7 definitions."""
    return judge(bundle, book, FAST)
