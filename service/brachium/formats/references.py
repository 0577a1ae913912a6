"""References inside stored text, found and replaced as bytes.

Stored text is written by this service without spaces, so a reference is exactly the pattern below.
It cannot occur inside a string: there, its quotes would be escaped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

_REFERENCE = re.compile(
    rb'"reference":"([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(?:/_history/([1-9][0-9]*))?"'
)


class Target(NamedTuple):
    """Where a relative reference points; ``version`` is ``None`` when it names no version."""

    type: str
    id: str
    version: int | None = None

    @property
    def path(self) -> str:
        """The reference as it was written: ``Type/id`` or ``Type/id/_history/version``."""
        path = f"{self.type}/{self.id}"
        return path if self.version is None else f"{path}/_history/{self.version}"


def _target(match: re.Match[bytes]) -> Target:
    kind, identity, version = match.groups()
    return Target(kind.decode(), identity.decode(), int(version) if version else None)


def targets(text: bytes) -> Iterator[Target]:
    """Yield every relative reference in ``text``, in order."""
    return (_target(match) for match in _REFERENCE.finditer(text))


def repointed(text: bytes, member: Callable[[Target], bytes]) -> bytes:
    """Return ``text`` with every relative reference replaced by what ``member`` gives for it.

    ``member`` returns one or more whole JSON members, for instance ``"reference":"urn:uuid:..."``.
    """
    return _REFERENCE.sub(lambda match: member(_target(match)), text)
