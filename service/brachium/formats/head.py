"""The opening of stored resource text, taken apart as bytes.

The store writes ``resourceType``, ``id``, ``meta`` and, for some types, ``issued`` before the body
(:meth:`brachium.records.Resource.text`); everything after them is the coded body, untouched.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brachium.records import StoredResource

_HEAD = re.compile(
    rb'\{"resourceType":"[A-Za-z]+","id":"[^"]+","meta":'
    rb'\{"versionId":"[^"]+","lastUpdated":"(?P<updated>[^"]+)"(?:,"profile":\[(?P<profile>[^\]]*)\])?\}'
)
_ISSUED = b',"issued":"'


@dataclass(frozen=True, slots=True)
class Parts:
    """A resource without its type, id and server meta.

    ``profile`` holds the quoted profile URLs, separated by commas, or nothing; ``issued`` tells
    whether the store writes that member; ``tail`` is what follows meta (issued included) and
    ``body`` the JSON object of all coded members.
    """

    profile: bytes
    issued: bool
    tail: bytes
    body: bytes


def parts(row: StoredResource) -> Parts:
    """Take a row's text apart; ``ValueError`` when it does not begin as this service writes it."""
    head = _HEAD.match(row.text)
    if head is None:
        raise ValueError(f"{row.type}/{row.id} does not begin with type, id and meta")
    tail = row.text[head.end() :]
    issued = _ISSUED + head["updated"] + b'"'
    members = tail.removeprefix(issued)
    return Parts(
        profile=head["profile"] or b"",
        issued=members != tail,
        tail=tail,
        body=b"{" + members.removeprefix(b","),
    )
