"""FHIRPath text cut into tokens (FHIRPath N1, 8 Lexical Elements)."""

from __future__ import annotations

import re
from typing import Literal, NamedTuple

Kind = Literal["text", "number", "name", "constant", "sign", "end"]


class BrokenView(ValueError):
    """A view, or a path in it, cannot be used; the text says why."""


class Token(NamedTuple):
    """One token: ``text`` is the unquoted string, the number, the name or the sign itself."""

    kind: Kind
    text: str


_TOKEN = re.compile(
    r"""\s*(?:
    '(?P<text>(?:[^'\\]|\\.)*)'
  | (?P<number>\d+(?:\.\d+)?)
  | %(?P<constant>[A-Za-z_]\w*)
  | (?P<name>\$this|[A-Za-z_]\w*)
  | (?P<sign><=|>=|!=|[=<>.,()\[\]])
  )""",
    re.VERBOSE,
)
_ESCAPES = {"n": "\n", "r": "\r", "t": "\t", "f": "\f"}
END = Token("end", "")


def tokens(path: str) -> list[Token]:
    """Return the tokens of a path, :data:`END` last; raises ``BrokenView``."""
    found: list[Token] = []
    place, whole = 0, path.rstrip()
    while place < len(whole):
        match = _TOKEN.match(whole, place)
        if match is None:
            raise BrokenView(f"the path {path!r} cannot be read from character {place} on")
        found.append(_token(match))
        place = match.end()
    return [*found, END]


def _token(match: re.Match[str]) -> Token:
    kinds: tuple[Kind, ...] = ("text", "number", "constant", "name")
    for kind in kinds:
        text = match[kind]
        if text is not None:
            return Token(kind, _unescaped(text) if kind == "text" else text)
    return Token("sign", match["sign"])


def _unescaped(text: str) -> str:
    return re.sub(r"\\(.)", lambda found: _ESCAPES.get(found[1], found[1]), text)
