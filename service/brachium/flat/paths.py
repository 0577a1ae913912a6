"""FHIRPath text made into a function once, so that a row costs no reading of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from brachium.flat import functions
from brachium.flat.functions import FUNCTIONS, SIGNS, Item, Path, chain, member
from brachium.flat.tokens import END, BrokenView, Token, tokens

_WORDS = {"true": True, "false": False}


def compiled(path: str, constants: Mapping[str, Item]) -> Path:
    """Return the path as a function; raises ``BrokenView`` for what is not supported."""
    if not isinstance(path, str) or not path.strip():
        raise BrokenView("a path is a text")
    return _Reader(tokens(path), constants).whole()


def fixed(item: Item) -> Path:
    """Return the path that gives a literal."""
    found = (item,)
    return lambda _items: found


def _itself(items: Sequence[Item]) -> Sequence[Item]:
    return items


class _Reader:
    """Reads tokens from left to right; each method reads what its name says."""

    def __init__(self, found: Sequence[Token], constants: Mapping[str, Item]) -> None:
        self._tokens = found
        self._constants = constants
        self._place = 0

    def whole(self) -> Path:
        path = self._disjunction()
        if self._next() is not END:
            raise BrokenView(f"the path goes on with {self._next().text!r}")
        return path

    def _disjunction(self) -> Path:
        left = self._conjunction()
        while self._takes("name", "or"):
            left = functions.either(left, self._conjunction())
        return left

    def _conjunction(self) -> Path:
        left = self._comparison()
        while self._takes("name", "and"):
            left = functions.both(left, self._comparison())
        return left

    def _comparison(self) -> Path:
        left = self._steps()
        sign = self._next()
        if sign.kind != "sign" or sign.text not in SIGNS:
            return left
        self._place += 1
        return functions.compared(left, sign.text, self._steps())

    def _steps(self) -> Path:
        path = self._term()
        while True:
            if self._takes("sign", "."):
                path = chain(path, self._named())
            elif self._takes("sign", "["):
                path = chain(path, self._index())
            else:
                return path

    def _term(self) -> Path:
        token = self._next()
        if token.kind == "name" and token.text not in _WORDS:
            return self._named()
        self._place += 1
        if token.kind == "text":
            return fixed(token.text)
        if token.kind == "number":
            return fixed(Decimal(token.text))
        if token.kind == "constant":
            return fixed(self._constant(token.text))
        if token.kind == "name":
            return fixed(_WORDS[token.text])
        if token == ("sign", "("):
            inner = self._disjunction()
            self._expect(")")
            return inner
        raise BrokenView(f"a path cannot go on with {token.text!r}")

    def _named(self) -> Path:
        """Read a member, ``$this``, or the call of a function."""
        name = self._word()
        if name == "$this":
            return _itself
        if self._takes("sign", "("):
            return self._call(name)
        return member(self._choice(name))

    def _choice(self, name: str) -> str:
        """Return the member of JSON for ``name.ofType(Type)`` (FHIR R4 json 2.6.2, choices)."""
        following = self._tokens[self._place : self._place + 5]
        if [token.text for token in following[:3]] != [".", "ofType", "("]:
            return name
        self._place += 3
        kind = self._word()
        self._expect(")")
        return name + kind[0].upper() + kind[1:]

    def _call(self, name: str) -> Path:
        if name not in FUNCTIONS:
            raise BrokenView(f"the function {name} is not supported here")
        arguments: list[Any] = []
        while not self._takes("sign", ")"):
            if arguments:
                self._expect(",")
            arguments.append(self._argument(FUNCTIONS[name].kind))
        return functions.function(name, arguments)

    def _argument(self, kind: str) -> Any:  # noqa: ANN401 - a path, a text or the name of a type
        if kind == "path":
            return self._disjunction()
        if kind == "type":
            return self._word()
        token = self._next()
        self._place += 1
        given = self._constant(token.text) if token.kind == "constant" else token.text
        if token.kind not in ("text", "constant") or not isinstance(given, str):
            raise BrokenView("this function takes a text")
        return given

    def _index(self) -> Path:
        token = self._next()
        self._place += 1
        given = self._constant(token.text) if token.kind == "constant" else token.text
        if token.kind not in ("number", "constant") or not str(given).isdigit():
            raise BrokenView("an index is a whole number")
        self._expect("]")
        place = int(given)
        return lambda items: items[place : place + 1]

    def _constant(self, name: str) -> Item:
        if name not in self._constants:
            raise BrokenView(f"there is no constant {name}")
        return self._constants[name]

    def _word(self) -> str:
        token = self._next()
        if token.kind != "name":
            raise BrokenView(f"a name has to stand where {token.text!r} is")
        self._place += 1
        return token.text

    def _next(self) -> Token:
        return self._tokens[self._place]

    def _takes(self, kind: str, text: str) -> bool:
        taken = self._next() == (kind, text)
        self._place += taken
        return taken

    def _expect(self, sign: str) -> None:
        if not self._takes("sign", sign):
            raise BrokenView(f"{sign!r} has to stand where {self._next().text!r} is")
