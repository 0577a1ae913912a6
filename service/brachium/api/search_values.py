"""The value of a search parameter as what the store looks for (FHIR R4 search 3.1.1.4).

Each reader takes one alternative, still escaped, and returns a match; ``ValueError`` with what is
allowed, in words of ours and without the value, when it cannot be read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeAlias

from brachium.api.search_dates import period
from brachium.api.search_numbers import amount
from brachium.api.search_parameters import Kind, Parameter
from brachium.store.criteria import Code, Is, Match, NoSystem, Period, System, Text

Matches: TypeAlias = tuple[Match, ...]
_ESCAPED = re.compile(r"\\(.)")
_ESCAPABLE = frozenset(",|$\\")
_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")
_PATH = re.compile(r"([A-Z][A-Za-z]{1,63})/([A-Za-z0-9.-]{1,64})")
_ADDRESS = re.compile(r"(?:https?|urn):\S+")
_SPACE = re.compile(r"[\x00-\x20]")
MOST_ALTERNATIVES = 500


def split(value: str, mark: str) -> list[str]:
    """Split at every ``mark`` that is not escaped; the parts stay escaped (3.1.1.4.19)."""
    parts, part, escaped = [], "", False
    for letter in value:
        if letter == mark and not escaped:
            parts.append(part)
            part = ""
            continue
        part += letter
        escaped = letter == "\\" and not escaped
    return [*parts, part]


def unescaped(part: str) -> str:
    r"""Return the text that was meant; ``ValueError`` for a backslash before anything but ,|$\\."""

    def meant(found: re.Match[str]) -> str:
        if found[1] not in _ESCAPABLE:
            raise ValueError(_ESCAPES)
        return found[1]

    whole = _ESCAPED.sub(meant, part)
    if len(part) - len(part.rstrip("\\")) & 1:
        raise ValueError(_ESCAPES)
    return whole


_ESCAPES = r"a backslash only before a comma, a bar, a dollar sign or a backslash"


def matches(parameter: Parameter, value: str, base: str, kind: str = "") -> Matches:
    """Return the alternatives of a value; ``kind`` is the type a reference is said to lead to.

    ``base`` is the address of the FHIR interface, without a slash at the end.
    """
    alternatives = split(value, ",")
    if len(alternatives) > MOST_ALTERNATIVES:
        raise ValueError(f"at most {MOST_ALTERNATIVES} values with commas between them")
    if parameter.type == "reference":
        targets = (kind,) if kind else parameter.targets
        return tuple(found for one in alternatives for found in _reference(one, targets, base))
    if parameter.name == "_id":
        return tuple(_id(one) for one in alternatives)
    read = _READERS[parameter.type]
    return tuple(read(one) for one in alternatives)


def identifiers(value: str) -> Matches:
    """Return the alternatives of ``:identifier``, which takes tokens (3.1.1.4.12)."""
    return tuple(_token(one) for one in split(value, ","))


def _id(value: str) -> Match:
    if not _ID.fullmatch(value):
        raise ValueError("ids of letters, digits, hyphens and dots")
    return Is(value)


def _token(value: str) -> Match:
    """FHIR R4 search 3.1.1.4.10: ``code``, ``system|code``, ``|code`` or ``system|``."""
    parts = [unescaped(part) for part in split(value, "|")]
    if len(parts) == 1 and parts[0]:
        return Code(parts[0])
    if len(parts) != 2 or not any(parts) or _SPACE.search(parts[0]):
        raise ValueError("code, system|code, |code or system|, with a bar inside them escaped")
    system, code = parts
    if not code:
        return System(system)
    return Is(f"{system}|{code}") if system else NoSystem(code)


def _reference(value: str, targets: tuple[str, ...], base: str) -> Matches:
    """FHIR R4 search 3.1.1.4.12: ``id``, ``Type/id`` or an absolute address.

    An address of another server is well formed, and nothing here leads to it.
    """
    given = unescaped(value)
    path = given.removeprefix(f"{base}/")
    if _ID.fullmatch(path):
        return tuple(Is(f"{kind}/{path}") for kind in targets)
    found = _PATH.fullmatch(path)
    if found and found[1] in targets:
        return (Is(path),)
    if path == given and _ADDRESS.fullmatch(given):
        return (Is(given),)
    raise ValueError(f"an id, or an address without version, of {' or '.join(targets)}")


def _uri(value: str) -> Match:
    given = unescaped(value)
    if not given or _SPACE.search(given):
        raise ValueError("a URI")
    return Is(given)


def _string(value: str) -> Match:
    given = unescaped(value)
    if not given.strip():
        raise ValueError("the beginning of a text")
    return Text(given)


def _date(value: str) -> Period:
    return period(unescaped(value))


def _quantity(value: str) -> Match:
    number, *unit = [unescaped(part) for part in split(value, "|")]
    return amount(number, unit)


_READERS: Mapping[Kind, Callable[[str], Match]] = {
    "token": _token,
    "date": _date,
    "quantity": _quantity,
    "uri": _uri,
    "string": _string,
}
