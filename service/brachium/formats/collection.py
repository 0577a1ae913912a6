"""The exam as a collection bundle: the stored text of every row, byte for byte."""

from __future__ import annotations

from brachium.formats.outgoing import Outgoing, framed, opening


def collection(outgoing: Outgoing) -> bytes:
    """Return a bundle of type collection (FHIR R4 bundle 2.36.3.4.7: fullUrl and resource only).

    References stay relative: they resolve against the fullUrl of their entry (2.36.4.1).
    """
    entries = ((opening(outgoing.full_url(row)), row.text, b"}") for row in outgoing.rows)
    return framed(outgoing, "collection", entries)
