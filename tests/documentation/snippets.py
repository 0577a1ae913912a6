"""Code blocks of the documents, by the words that follow their opening fence.

``bash demo`` and ``bash suite`` are the two set-up commands; ``bash shell`` runs in the checkout
with the commands of this environment; ``bash serve`` runs against a service that the test starts;
``bash audit`` runs where a database was filled; ``bash golden`` writes kept files and is only
compared; ``python client`` runs against a service at which its client is registered; ``json exam``
is an exam that is accepted, ``json refused`` one that is not, and ``json response`` an exam as a
QuestionnaireResponse.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
KINDS = {"bash demo", "bash suite", "bash shell", "bash serve", "bash golden"}
KINDS |= {"bash audit", "json exam", "json refused", "json response"}
KINDS |= {"python client"}
_BLOCK = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


class Snippet(NamedTuple):
    """One code block; ``kind`` is what follows the opening fence."""

    document: str
    kind: str
    text: str
    line: int

    @property
    def name(self) -> str:
        return f"{self.document}:{self.line}"


def in_text(text: str, document: str) -> list[Snippet]:
    """Every code block of a text."""
    return [
        Snippet(document, block[1].strip(), block[2], text.count("\n", 0, block.start()) + 1)
        for block in _BLOCK.finditer(text)
    ]


def all_of(kind: str | None = None) -> list[Snippet]:
    """Every code block of the documents, or those of one kind."""
    found = [
        snippet
        for name in DOCUMENTS
        for snippet in in_text((ROOT / name).read_text(encoding="utf-8"), name)
    ]
    return [snippet for snippet in found if kind in (None, snippet.kind)]
