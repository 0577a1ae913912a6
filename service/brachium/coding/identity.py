"""Resource ids: uuid5 of business identifiers, so that the same exam always gets the same ids."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, UUID

if TYPE_CHECKING:
    from brachium.exam.findings import Identifier

# the variant bits of RFC 4122 in the first hex digit of the fourth group
_VARIANT = {digit: "89ab"[int(digit, 16) & 3] for digit in "0123456789abcdef"}


class Ids:
    """The ids of one name space, for instance those of the resources of one exam.

    RFC 4122 section 4.3 (version 5) written out, because :func:`uuid.uuid5` takes three times as
    long and an exam has hundreds of ids; a test holds both equal.
    """

    def __init__(self, namespace: str) -> None:
        self._namespace = hashlib.sha1(UUID(namespace).bytes, usedforsecurity=False)

    def of(self, name: str) -> str:
        """Return the id for a resource ``name`` such as ``Observation/KEY``."""
        digest = self._namespace.copy()
        digest.update(name.encode())
        text = digest.hexdigest()
        variant = _VARIANT[text[16]]
        return f"{text[:8]}-{text[8:12]}-5{text[13:16]}-{variant}{text[17:20]}-{text[20:32]}"


_URLS = Ids(str(NAMESPACE_URL))


def exam_id(identifier: Identifier) -> str:
    """Return the id of an exam; it is also the name space of the ids of its own resources."""
    return _URLS.of(f"exam|{identifier.system}|{identifier.value}")


def party_id(resource_type: str, identifier: Identifier) -> str:
    """Return the id of a shared resource: the same person has one id in every exam."""
    return _URLS.of(f"{resource_type}|{identifier.system}|{identifier.value}")
