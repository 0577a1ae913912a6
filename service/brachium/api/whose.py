"""Whose request is served: the Organization of the caller, for everything that is done for it.

The gate says it, and it goes along into the threads that work for the request, so that no operation
has to pass it on. Outside a request nobody said, and what asks is told so instead of everything.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from brachium.coding.identity import party_id
from brachium.exam.findings import Identifier

_ORGANIZATION: ContextVar[str] = ContextVar("organization")


def whose() -> str:
    """Return the id of the Organization that is served, empty for a caller who sees everything.

    Raises ``RuntimeError`` outside of :func:`serving`.
    """
    try:
        return _ORGANIZATION.get()
    except LookupError:
        raise RuntimeError("nobody said for whom the store is asked") from None


@contextmanager
def serving(organization: str) -> Iterator[None]:
    """Serve an Organization, by its id, until the end of the block."""
    before = _ORGANIZATION.set(organization)
    try:
        yield
    finally:
        _ORGANIZATION.reset(before)


def organization_id(identifier: str) -> str:
    """Return the id of the Organization with an identifier, ``system|value``; of none, none."""
    if not identifier:
        return ""
    system, _, value = identifier.partition("|")
    return party_id("Organization", Identifier(system=system, value=value))
