"""How accepted words are named to the reader: near matches first, and never the posted text."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

_MOST = 40


def choose(posted: str | None, accepted: Iterable[str]) -> str:
    """Say which words are accepted, those near to the posted one first."""
    words = list(dict.fromkeys(accepted))
    if not words:
        return "Leave it out: nothing is recorded here."
    if len(words) == 1:
        return f"Use {words[0]}."
    near = get_close_matches(posted, words, n=3, cutoff=0.5) if posted else []
    ordered = near + [word for word in words if word not in near]
    shown = ", ".join(ordered[:_MOST])
    more = f" and {len(ordered) - _MOST} more (see the catalogue)" if len(ordered) > _MOST else ""
    return f"Use one of: {shown}{more}."


def listed(words: Iterable[str]) -> str:
    """Join words for running text: "a", "a or b", "a, b or c"."""
    items = list(words)
    return " or ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)
