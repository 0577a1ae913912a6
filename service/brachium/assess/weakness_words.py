"""What a pattern of weakness looks like, and how it is put into words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.options import MEMORY
from brachium.tables.concepts import in_text
from brachium.tables.strength_rows import NERVE, ROOT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brachium.assess.derived import Used

_MOST = 3
_NOT_A_DIAGNOSIS = "A pattern of the tests that were graded, not a diagnosis"


class Note(NamedTuple):
    """Where sources differ about a test: the test in words, the difference, the source key."""

    test: str
    text: str
    source: str


class Account(NamedTuple):
    """What one nerve or root would account for; every test with its grade.

    ``explained`` and ``unexplained`` are weak tests; ``contradicting`` are strong tests that nobody
    else serves, ``partly`` strong ones that others serve as well. ``rank`` counts from 1 within
    ``scheme`` (the list it belongs to), equal candidates share one. ``evidence`` is seen,
    secondary, memory or own.
    """

    supplier: str
    label: str
    kind: str
    scheme: str
    rank: int
    explained: tuple[Used, ...]
    unexplained: tuple[Used, ...]
    contradicting: tuple[Used, ...]
    partly: tuple[Used, ...]
    sources: tuple[str, ...]
    evidence: str

    @property
    def fits(self) -> bool:
        """Whether it accounts for every weak test of its list and leaves the strong ones alone."""
        return not self.unexplained and not self.contradicting


class Pattern(NamedTuple):
    """The weak and the strong tests of one side, and who would account for them, best first.

    ``vague`` are tests left out, with the reason; ``unlisted`` weak tests that no list names.
    """

    side: str
    rule: str
    statement: str
    weak: tuple[Used, ...]
    strong: tuple[Used, ...]
    vague: tuple[str, ...]
    unlisted: tuple[Used, ...]
    accounts: tuple[Account, ...]
    notes: tuple[Note, ...]
    sources: tuple[str, ...]


def statement(pattern: Pattern, names: Mapping[str, str], both: bool) -> str:
    """Return a pattern as text without its full stop; ``names`` are tests by leaf key."""
    parts = [f"{pattern.side} side: weak {_listed(pattern.weak, names)}"]
    parts += _accounted(pattern.accounts, NERVE, "peripheral nerve", names)
    parts += _accounted(pattern.accounts, ROOT, "root", names)
    if not any(one.kind == ROOT and one.evidence == MEMORY for one in pattern.accounts):
        parts.append("Roots by the key muscles alone")
    else:
        parts.append("Root lists from memory took part, not read in their publication")
    if pattern.unlisted:
        parts.append(f"On no list: {_listed(pattern.unlisted, names)}")
    if pattern.vague:
        parts.append(f"Left out: {'; '.join(pattern.vague)}")
    if both:
        parts.append("Both sides have weak tests, so neither serves as normal")
    parts.append(_NOT_A_DIAGNOSIS)
    return ". ".join(parts)


def _accounted(
    accounts: Sequence[Account], kind: str, word: str, names: Mapping[str, str]
) -> Iterable[str]:
    own = [one for one in accounts if one.kind == kind]
    schemes = dict.fromkeys(one.scheme for one in own)
    for scheme in schemes:
        some = [one for one in own if one.scheme == scheme]
        fit = [one for one in some if one.fits]
        if fit:
            yield f"Consistent with {_described(fit, names)}"
        else:
            first = [one for one in some if one.rank == 1]
            nearest = _described(first, names)
            yield f"Consistent with no single {word} on the list; nearest: {nearest}"


def _described(accounts: Sequence[Account], names: Mapping[str, str]) -> str:
    text = ", or ".join(_one(account, names) for account in accounts[:_MOST])
    more = len(accounts) - _MOST
    return text + (f", or {more} more" if more > 0 else "")


def _one(account: Account, names: Mapping[str, str]) -> str:
    weak = len(account.explained) + len(account.unexplained)
    said = [f"explains {len(account.explained)} of {weak}"]
    if account.unexplained:
        said.append(f"not {_listed(account.unexplained, names)}")
    if account.contradicting:
        said.append(f"against it, strong: {_listed(account.contradicting, names)}")
    if account.partly:
        said.append(f"strong, but served by others too: {_listed(account.partly, names)}")
    if account.evidence == MEMORY:
        said.append("from memory")
    return f"{in_text(account.label)} ({'; '.join(said)})"


def _listed(some: Iterable[Used], names: Mapping[str, str]) -> str:
    return ", ".join(f"{names[used.leaf]} {used.value}" for used in some)
