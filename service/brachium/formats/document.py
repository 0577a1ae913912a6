"""The exam as a document: fixed, readable without understanding anything but its narrative."""

from __future__ import annotations

from brachium.formats.outgoing import Outgoing, framed, opening
from brachium.formats.references import Target, repointed

_OUTSIDE = frozenset({"Provenance", "QuestionnaireResponse"})


def document(outgoing: Outgoing) -> bytes:
    """Return a bundle of type document, Composition first (FHIR R4 documents 3.3.1, bdl-11).

    References are absolute and equal the fullUrl of an entry, so that a reader needs no rule to
    resolve them. Provenance stays out: it points at earlier versions, which are not in the
    document; so does the form that the exam came in as, which nothing in it points at.
    Raises ``ValueError`` when there is no Composition or a reference leads outside.
    """
    if outgoing.composition is None:
        raise ValueError("a document needs its Composition")
    kept = (row for row in outgoing.rows if row.type not in _OUTSIDE)
    rows = (outgoing.composition, *kept)
    inside = {(row.type, row.id) for row in rows}

    def member(target: Target) -> bytes:
        if (target.type, target.id) not in inside:
            raise ValueError(f"{target.path} is not in the document")
        return f'"reference":"{outgoing.base}/{target.type}/{target.id}"'.encode()

    entries = ((opening(outgoing.full_url(row)), repointed(row.text, member), b"}") for row in rows)
    return framed(outgoing, "document", entries)
