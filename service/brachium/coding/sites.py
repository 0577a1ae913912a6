"""bodySite: own site concept, body structure, laterality, and the words (OBS-05)."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from brachium.coding import words
from brachium.coding.fhir import LATERALITY, SNOMED
from brachium.coding.jsontext import dump
from brachium.coding.vocabulary import Notice, Vocabulary
from brachium.tables.concepts import site_concept


class BodySite(NamedTuple):
    """A bodySite as JSON text, and what there is to say about it."""

    text: str
    notices: tuple[Notice, ...]


@lru_cache(maxsize=8192)
def body_site(
    vocabulary: Vocabulary, joint: str, part: str, site: str, digit: str, side: str
) -> BodySite:
    """Return the bodySite of a finding; ``side`` left, right or both; other words may be empty."""
    tables = vocabulary.tables
    where = words.place(tables, joint, part, site, digit)
    together = side == "both" and not site and not digit
    text = (
        f"Both {tables.joints[joint].plural}"
        if together
        else words.capital(f"{words.SIDES[side]} {where}")
    )
    concept = site_concept(joint, site or None, digit or None)
    codings = [vocabulary.own(concept), *_structure(vocabulary, joint, part, site, digit, side)]
    sides = vocabulary.codings(f"side-{side}")[::-1][:1]
    extension = {"url": LATERALITY, "valueCodeableConcept": {"coding": sides}}
    return BodySite(
        dump({"extension": [extension], "coding": codings, "text": text}),
        vocabulary.notices(concept, codings),
    )


def _structure(
    vocabulary: Vocabulary, joint: str, part: str, site: str, digit: str, side: str
) -> list[Any]:
    """Return the coding of the structure: with the side when there is one, else without."""
    tables = vocabulary.tables
    if site:
        name = tables.sites[joint, part, site].structure
    else:
        named = tables.joints[joint]
        name = tables.digits[digit].structure if digit and not named.digits else named.structure
    if digit and words.is_whole_digit(name):
        name = tables.digits[digit].structure
    row = tables.structures.get(name)
    if row is None:
        return []
    sided = {"left": row.snomed_left, "right": row.snomed_right}.get(side, "")
    wanted = (row.snomed,) if vocabulary.options.side == "code" else (sided, row.snomed)
    allowed = [code for code in wanted if code and vocabulary.allowed(SNOMED, code)]
    return [vocabulary.standard(SNOMED, code) for code in allowed[:1]]
