"""Which nerve or root would account for the weak tests of a side and leave the strong ones alone.

A pattern is never a diagnosis: it is no :class:`~brachium.assess.derived.Derived`, is never
exported as a coded one, and speaks of "consistent with" at most. Which nerve or root serves which
test is rows of mappings/reference/innervation.csv; lists of different sources are never mixed. A
test speaks against a candidate when it is strong although nothing but the candidate and its
branches serves it; where others serve it as well it counts as partly served. Grades limited by
pain and the like are left out, and it is said.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Used
from brachium.assess.measured import sentence
from brachium.assess.tested import OTHER, limits_said, named
from brachium.assess.unfit import vague_limits
from brachium.assess.weakness_words import Account, Note, Pattern, statement
from brachium.tables.strength_rows import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.options import AssessOptions
    from brachium.assess.tested import Place, Tested, Tests
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import Innervation

__all__ = ["PATTERN_RULE", "Account", "Note", "Pattern", "patterns"]

PATTERN_RULE = "weakness-pattern/1.0"


class _Graded(NamedTuple):
    """The tests of a side that say something of nerve and root."""

    weak: dict[Place, Used]
    strong: dict[Place, Used]
    vague: tuple[str, ...]


class _Served(NamedTuple):
    """Who serves one test in one list: everybody, and those who make it strong."""

    anyone: frozenset[str]
    main: frozenset[str]


def patterns(tests: Tests, tables: Tables, options: AssessOptions) -> tuple[Pattern, ...]:
    """Return the pattern of every side that has a weak graded test, right before left."""
    if not any(one.grade is not None and not one.grade.normal for one in tests.values()):
        return ()
    graded = {side: _graded(tests, side, tables) for side in OTHER}
    both = all(one.weak for one in graded.values())
    return tuple(
        _pattern(side, one, both, tables, options) for side, one in graded.items() if one.weak
    )


def _graded(tests: Tests, side: str, tables: Tables) -> _Graded:
    weak: dict[Place, Used] = {}
    strong: dict[Place, Used] = {}
    vague: list[str] = []
    for place, one in sorted(tests.items(), key=lambda item: _order(item[0], tables)):
        if place.side != side:
            continue
        if one.grade is None or one.used is None:
            vague.extend(_unclear(place, one, tables))
        elif one.grade.normal:
            strong[place] = one.used
        elif vague_limits(tables).isdisjoint(one.limited):
            weak[place] = one.used
        else:
            limits = limits_said(one.limited, tables)
            vague.append(f"{_sideless(place, tables)} ({one.grade.grade}{limits})")
    return _Graded(weak, strong, tuple(vague))


def _unclear(place: Place, one: Tested, tables: Tables) -> Iterable[str]:
    """Yield a graded test without one grade that holds."""
    if one.missing and tables.strength[place.joint, place.test].measure == "grade":
        yield one.missing


@lru_cache(maxsize=1024)
def _order(place: Place, tables: Tables) -> tuple[int, int, int]:
    digit = tables.digits[place.digit].order if place.digit else 0
    return (
        tables.joints[place.joint].order,
        tables.strength[place.joint, place.test].order,
        digit,
    )


def _pattern(
    side: str, graded: _Graded, both: bool, tables: Tables, options: AssessOptions
) -> Pattern:
    schemes = _schemes(tables, options)
    found: list[Account] = []
    for scheme in schemes:
        found.extend(_ranked(_accounts(scheme, graded, tables, options)))
    unlisted = tuple(
        used
        for place, used in graded.weak.items()
        if not any(_served(scheme, place, tables, options) for scheme in schemes)
    )
    notes = tuple(
        Note(_sideless(place, tables), row.note, row.source)
        for place in (*graded.weak, *graded.strong)
        if (row := tables.innervation_notes.get((place.joint, place.test))) is not None
        and options.allows(row.evidence)
    )
    tests = (*graded.weak.items(), *graded.strong.items())
    names = {used.leaf: _sideless(place, tables) for place, used in tests}
    pattern = Pattern(
        side=side,
        rule=PATTERN_RULE,
        statement="",
        weak=tuple(graded.weak.values()),
        strong=tuple(graded.strong.values()),
        vague=graded.vague,
        unlisted=unlisted,
        accounts=tuple(found),
        notes=notes,
        sources=tuple(dict.fromkeys(source for one in found for source in one.sources)),
    )
    return pattern._replace(statement=sentence(statement(pattern, names, both)))


@lru_cache(maxsize=1024)
def _sideless(place: Place, tables: Tables) -> str:
    return named(place._replace(side="both"), tables)


def _accounts(
    scheme: str, graded: _Graded, tables: Tables, options: AssessOptions
) -> Iterable[Account]:
    """Yield every nerve or root of one list that explains a weak test at least."""
    weak = _listed(scheme, graded.weak, tables, options)
    strong = _listed(scheme, graded.strong, tables, options)
    candidates = _above({name for served, _ in weak for name in served.anyone}, tables)
    for name in candidates:
        own = _territory(name, tables)
        row = tables.suppliers[name]
        served_strong = [(served, used) for served, used in strong if served.anyone & own]
        memory, sources = _evidence(scheme, own, tables, options)
        yield Account(
            supplier=name,
            label=row.label,
            kind=row.kind,
            scheme=scheme,
            rank=0,
            explained=tuple(used for served, used in weak if served.anyone & own),
            unexplained=tuple(used for served, used in weak if not served.anyone & own),
            # who only helps is not missed: what makes the test strong must lie within
            contradicting=tuple(used for served, used in served_strong if served.main <= own),
            partly=tuple(used for served, used in served_strong if not served.main <= own),
            sources=sources,
            evidence=memory,
        )


def _listed(
    scheme: str, places: Mapping[Place, Used], tables: Tables, options: AssessOptions
) -> list[tuple[_Served, Used]]:
    found = ((_served(scheme, place, tables, options), used) for place, used in places.items())
    return [(served, used) for served, used in found if served is not None]


@lru_cache(maxsize=4096)
def _served(scheme: str, place: Place, tables: Tables, options: AssessOptions) -> _Served | None:
    """Return who serves a test in one list, or ``None`` where the list does not name it."""
    rows = [
        row
        for row in tables.innervation.get((place.joint, place.test), ())
        if row.scheme == scheme
        and options.allows(row.evidence)
        and (not row.digits or place.digit in row.digits)
    ]
    if not rows:
        return None
    main = frozenset(row.supplier for row in rows if row.main)
    return _Served(frozenset(row.supplier for row in rows), main)


@lru_cache(maxsize=64)
def _territory(name: str, tables: Tables) -> frozenset[str]:
    """Return a nerve with all its branches, or a root."""
    branches = (row.supplier for row in tables.suppliers.values() if row.parent == name)
    return frozenset({name}).union(*(_territory(branch, tables) for branch in branches))


def _above(names: set[str], tables: Tables) -> list[str]:
    """Return suppliers with the nerves that they leave, in table order."""
    found = set(names)
    for name in names:
        parent = tables.suppliers[name].parent
        while parent:
            found.add(parent)
            parent = tables.suppliers[parent].parent
    return sorted(found, key=lambda name: tables.suppliers[name].order)


@lru_cache(maxsize=16)
def _schemes(tables: Tables, options: AssessOptions) -> tuple[str, ...]:
    """Return the lists that may be used: nerves before roots."""
    rows = [row for row in _rows(tables) if options.allows(row.evidence)]
    kinds = {row.scheme: tables.suppliers[row.supplier].kind for row in rows}
    return tuple(sorted(kinds, key=lambda scheme: (kinds[scheme] == ROOT, scheme)))


@lru_cache(maxsize=16)
def _rows(tables: Tables) -> tuple[Innervation, ...]:
    return tuple(row for rows in tables.innervation.values() for row in rows)


@lru_cache(maxsize=256)
def _evidence(
    scheme: str, own: frozenset[str], tables: Tables, options: AssessOptions
) -> tuple[str, tuple[str, ...]]:
    """Return the weakest evidence behind the rows of a candidate, and their sources."""
    rows = [
        row
        for row in _rows(tables)
        if row.scheme == scheme and row.supplier in own and options.allows(row.evidence)
    ]
    words = {row.evidence for row in rows}
    worst = next((one for one in ("memory", "own", "secondary") if one in words), "seen")
    return worst, tuple(dict.fromkeys(row.source for row in rows))


def _ranked(accounts: Iterable[Account]) -> list[Account]:
    """Rank the candidates of one list: least left over, most explained, fewest partly served."""
    some = sorted(accounts, key=_merit)
    merits = [_merit(one) for one in some]
    return [
        one._replace(rank=merits.index(merit) + 1) for one, merit in zip(some, merits, strict=True)
    ]


def _merit(one: Account) -> tuple[int, int, int]:
    return (
        len(one.unexplained) + len(one.contradicting),
        -len(one.explained),
        len(one.partly),
    )
