"""Force against published groups of the same age, sex and side.

Mathiowetz is the mean of three trials, seated; NHANES is the best of three, standing: a mean is
held against means and a best against bests, never one against the other. Where a set has means and
standard deviations the result is a z-score, and its percentile that of a normal distribution; where
it has percentiles the result lies straight between the published ones; beyond the outermost it is
only said to lie there, and its z-score, which stands beside every percentile, says how far. Low
means below the 5th percentile, which is this service's own convention.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from brachium.assess.cutoffs import fitting, passed
from brachium.assess.derived import Derived
from brachium.assess.grip import THREE, mean_of
from brachium.assess.measured import sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.options import MEMORY
from brachium.assess.standing import Percentile, between, percentile_of, z_score
from brachium.assess.tested import limits_said, named
from brachium.tables.concepts import in_text
from brachium.tables.strength_rows import (
    PERCENTILE,
    PERCENTS,
    SUMMARIES,
    Z_SCORE,
    Norm,
    PercentileRow,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.options import AssessOptions
    from brachium.assess.tested import Place, Tests, Whose
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import NormSet

_Row = TypeVar("_Row", Norm, PercentileRow)
_CENT = Decimal("0.01")
_SURE = "high"
_PEOPLE = {"male": ("men", "boys"), "female": ("women", "girls")}
_ADULT = 18


class Force(NamedTuple):
    """Three trials of one place, and how they were made."""

    place: Place
    trials: tuple[Decimal, ...]
    limited: tuple[str, ...]
    position: str


class _Group(NamedTuple):
    """The set, and a row of it or the reason why none fits."""

    norm_set: NormSet
    row: Norm | PercentileRow | None
    missing: str


def against_norms(
    tests: Tests, whose: Whose, tables: Tables, options: AssessOptions
) -> tuple[Derived, ...]:
    """Return where every force of three trials stands in the published groups that fit."""
    found: list[Derived] = []
    for place, one in tests.items():
        if len(one.trials) == THREE and one.used:
            used = (one.used,)
            force = Force(place, one.trials, one.limited, one.position)
            made = _against(force, whose, tables, options)
            found.extend(derived._replace(used=used) for derived in made)
    return tuple(found)


@lru_cache(maxsize=4096)
def _against(
    force: Force, whose: Whose, tables: Tables, options: AssessOptions
) -> tuple[Derived, ...]:
    groups = _groups(force.place, whose, tables, options)
    return tuple(_derived(force, group, whose, tables) for group in groups)


@lru_cache(maxsize=4096)
def _groups(
    place: Place, whose: Whose, tables: Tables, options: AssessOptions
) -> tuple[_Group, ...]:
    key = place.joint, place.test
    norms = [
        row
        for row in tables.norms.get(key, ())
        if options.allows(row.evidence) and (row.confidence == _SURE or options.memory_references)
    ]
    percentiles = [row for row in tables.percentiles.get(key, ()) if options.allows(row.evidence)]
    return (
        *_fitting_groups(_by_set(norms), place, whose, tables),
        *_fitting_groups(_by_set(percentiles), place, whose, tables),
    )


def _by_set(rows: Iterable[_Row]) -> Mapping[str, list[_Row]]:
    found: dict[str, list[_Row]] = {}
    for row in rows:
        found.setdefault(row.norm_set, []).append(row)
    return found


def _fitting_groups(
    sets: Mapping[str, list[_Row]], place: Place, whose: Whose, tables: Tables
) -> Iterable[_Group]:
    for name, rows in sets.items():
        norm_set = tables.norm_sets[name]
        sexes = {row.sex for row in rows}
        near = [
            row
            for row in rows
            if row.side == place.side
            and (row.sex == whose.sex or whose.sex not in sexes)
            and row.age_from <= whose.oldest
            and whose.youngest <= row.age_to
        ]
        if not near:
            continue
        if whose.sex not in sexes:
            yield _Group(norm_set, None, f"{norm_set.label} speaks of men and women only")
        elif (
            len(near) == 1 and near[0].age_from <= whose.youngest and whose.oldest <= near[0].age_to
        ):
            yield _Group(norm_set, near[0], "")
        else:
            why = f"an age of {whose.youngest} or {whose.oldest} lies in no single group"
            yield _Group(norm_set, None, f"{why} of {norm_set.label}")


class _Stands(NamedTuple):
    name: str
    text: str
    value: Decimal | None
    percentile: Percentile | None
    comparator: str = ""


def _derived(force: Force, group: _Group, whose: Whose, tables: Tables) -> Derived:
    place, norm_set = force.place, group.norm_set
    stands = _stands(force, group, whose, tables)
    made = tables.computations[stands.name]
    low, high = _beyond(stands, place, whose, tables)
    evidence = group.row.evidence if group.row else made.evidence
    text = stands.text + _remarks(force, group, whose, tables)
    source = group.row.source if group.row else norm_set.source
    limits = fitting(PERCENTILE, place.joint, place.test, whose, tables)
    return Derived(
        name=stands.name,
        rule=made.rule,
        joint=place.joint,
        digit=place.digit,
        side=place.side,
        qualifier=f"{place.test}-{norm_set.norm_set}",
        statement=sentence(f"{named(place, tables)}: {text}"),
        sources=tuple(dict.fromkeys((source, *(row.source for row in limits)))),
        evidence=evidence,
        used=(),
        value=stands.value,
        comparator=stands.comparator,
        unit=made.unit,
        interpretation=_interpretation(stands, low, high),
        flagged=low,
        missing=(group.missing,) if group.missing else (),
    )


def _stands(force: Force, group: _Group, whose: Whose, tables: Tables) -> _Stands:
    norm_set, row = group.norm_set, group.row
    bests = norm_set.summary == "best"
    value = max(force.trials) if bests else mean_of(force.trials)
    phrase = tables.computations[SUMMARIES[norm_set.summary]].phrase
    name = PERCENTILE if bests else Z_SCORE
    if row is None:
        made = tables.computations[name].phrase
        return _Stands(name, f"{made} not worked out; {group.missing}", None, None)
    seen = f"{phrase} {plain(value.quantize(_CENT))} kgf"
    unit = tables.units[row.unit]
    z = z_score(value, row.mean * unit.factor, row.sd * unit.factor)
    count = f", n {row.n}" if row.n else ""
    score = z.quantize(_CENT)
    people = (
        f"{norm_set.label} ({row.source}), {_people(whose.sex, row.age_to)} of {row.age_from} to "
        f"{row.age_to} years, {row.side} side, mean {row.mean:f} {unit.label}, "
        f"SD {row.sd:f}{count}; {norm_set.conditions}"
    )
    if isinstance(row, PercentileRow):
        values = tuple(one * unit.factor for one in row.values)
        percentile = between(value, PERCENTS, values)
        how = (
            "nothing is published beyond it" if percentile.comparator else "between published ones"
        )
        text = f"{seen}, {_at(percentile)} (z-score {score:f}) of {people}; {how}"
        return _Stands(name, text, percentile.value, percentile, percentile.comparator)
    percentile = percentile_of(z)
    where = f"{_at(percentile)} of a normal distribution"
    text = f"{seen}, z-score {score:f} ({where}) in {people}"
    return _Stands(name, text, tidy(score), percentile)


def _people(sex: str, oldest: int) -> str:
    return _PEOPLE[sex][oldest < _ADULT]


def _at(percentile: Percentile) -> str:
    where = {"<": "below ", ">": "above ", "": ""}[percentile.comparator]
    return f"{where}percentile {plain(percentile.value)}"


def _beyond(stands: _Stands, place: Place, whose: Whose, tables: Tables) -> tuple[bool, bool]:
    """Tell whether a percentile passes the low and the high limit."""
    if stands.percentile is None:
        return False, False
    rows = fitting(PERCENTILE, place.joint, place.test, whose, tables)
    # what is only known to lie beyond a percentile lies beyond it by a little at least
    nudge = {"<": -_CENT, ">": _CENT, "": Decimal(0)}[stands.percentile.comparator]
    values = {"%": stands.percentile.value + nudge}
    return bool(passed(rows, "below", values)), bool(passed(rows, "above", values))


def _interpretation(stands: _Stands, low: bool, high: bool) -> str | None:
    if stands.percentile is None:
        return None
    return "L" if low else ("H" if high else "N")


def _remarks(force: Force, group: _Group, whose: Whose, tables: Tables) -> str:
    """Return what a reader must know beside the figure."""
    norm_set, row = group.norm_set, group.row
    limits = limits_said(force.limited, tables)
    text = f"; this test was{limits.removeprefix(',')}" if limits else ""
    if row is None:
        return text
    if force.position and norm_set.position and force.position != norm_set.position:
        position = in_text(tables.options["position", force.position].label)
        text += f"; this patient was {position}"
    if whose.dominant in ("right", "left") and whose.dominant != norm_set.mostly:
        text += f"; most of the group is {norm_set.mostly}-handed, this patient is not"
    if row.evidence == MEMORY:
        text += "; from memory, not read in its publication"
    elif isinstance(row, Norm) and row.confidence != _SURE:
        text += "; read in a reprint of which nobody is sure"
    return text
