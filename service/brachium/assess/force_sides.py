"""Force of one side against the other: difference, dominance, and what dominance lets expect.

Compared are bests of three, or bests of as many trials on both sides. Percentages name their
denominator: the difference is right less left in percent of the stronger side; dominant against
the other side is in percent of the other. The correction is for those whose dominance has a row in
mappings/reference/dominance.csv (right-handed people); it is a mean of healthy people, not a limit.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.cutoffs import fitting, passed
from brachium.assess.derived import Derived
from brachium.assess.grip import THREE
from brachium.assess.measured import sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.tested import OTHER, Place, limits_said, named, test_of
from brachium.tables.strength_rows import CORRECTED, DOMINANCE, SIDES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brachium.assess.tested import Tested, Tests, Whose
    from brachium.tables.load import Tables

_TENTH = Decimal("0.1")


class _Pair(NamedTuple):
    """Both sides of one test (``place`` has side "both"); trials in kilograms of force."""

    place: Place
    right: tuple[Decimal, ...]
    left: tuple[Decimal, ...]
    limits: tuple[tuple[str, ...], tuple[str, ...]]
    missing: tuple[str, ...]

    def best(self, side: str) -> Decimal:
        """Return the best trial of a side."""
        return max(self.right if side == "right" else self.left)


class _Said(NamedTuple):
    text: str
    value: Decimal | None = None
    flagged: bool = False
    sources: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def force_sides(
    tests: Tests, whose: Whose, unfit: Mapping[str, tuple[str, ...]], tables: Tables
) -> tuple[Derived, ...]:
    """Compare the sides of every force of which one side was measured."""
    found: list[Derived] = []
    for place in dict.fromkeys(
        one._replace(side="both") for one, test in tests.items() if test.trials
    ):
        right, left = (test_of(tests, place._replace(side=side), tables) for side in OTHER)
        used = tuple(one.used for one in (right, left) if one.used)
        pair = _Pair(
            place,
            right.trials,
            left.trials,
            (right.limited, left.limited),
            _missing(place, right, left, tables),
        )
        both = bool(unfit["right"]) and bool(unfit["left"])
        found.extend(one._replace(used=used) for one in _compared(pair, whose, both, tables))
    return tuple(found)


def _missing(place: Place, right: Tested, left: Tested, tables: Tables) -> tuple[str, ...]:
    missing = tuple(one.missing for one in (right, left) if one.missing)
    if not missing and len(right.trials) != len(left.trials):
        counts = f"{len(right.trials)} trials on the right, {len(left.trials)} on the left"
        return (f"{named(place, tables)}: {counts}, and more trials find a better best",)
    if not missing and not max(*right.trials, *left.trials):
        return (f"{named(place, tables)}: 0 on both sides, and nothing is a percentage of 0",)
    return missing


@lru_cache(maxsize=4096)
def _compared(pair: _Pair, whose: Whose, unfit_both: bool, tables: Tables) -> tuple[Derived, ...]:
    found = [_derived(SIDES, pair, _difference(pair, whose, unfit_both, tables), tables)]
    # one message for one gap is enough: the other two come only with both sides
    if not pair.missing and whose.dominant in OTHER and _has_dominance(pair.place, tables):
        found.append(_derived(DOMINANCE, pair, _dominant(pair, whose, tables), tables))
        row = tables.dominance.get((pair.place.joint, pair.place.test, whose.dominant))
        if row is not None:
            corrected = _corrected(pair, whose.dominant, row.factor, row.source, tables)
            found.append(_derived(CORRECTED, pair, corrected, tables))
    return tuple(found)


@lru_cache(maxsize=64)
def _has_dominance(place: Place, tables: Tables) -> bool:
    return any((joint, test) == (place.joint, place.test) for joint, test, _ in tables.dominance)


def _difference(pair: _Pair, whose: Whose, unfit_both: bool, tables: Tables) -> _Said:
    if pair.missing:
        return _Said(f"sides not compared; {'; '.join(pair.missing)}", missing=pair.missing)
    right, left = pair.best("right"), pair.best("left")
    percent = (right - left) * 100 / max(right, left)
    text = f"{_seen(pair, tables)}; {_how(right, left, percent)}"
    place = pair.place
    rows = fitting(SIDES, place.joint, place.test, whose, tables)
    over = passed(rows, "above", {"%": abs(percent), "kg": abs(right - left)})
    if over:
        text += "; " + "; ".join(f"{row.meaning} ({row.source})" for row in over)
    elif not rows:
        text += "; no published limit is at hand for this test, sex and age"
    if unfit_both or all(pair.limits):
        text += "; findings or limits on both sides, so neither side serves as normal"
    sources = tuple(row.source for row in rows)
    return _Said(text, tidy(percent.quantize(_TENTH)), bool(over), sources)


def _seen(pair: _Pair, tables: Tables) -> str:
    sides = zip(OTHER, pair.limits, strict=True)
    return f"{_summary(pair)}, " + ", ".join(
        f"{side} {plain(pair.best(side))} kgf{limits_said(limited, tables)}"
        for side, limited in sides
    )


def _summary(pair: _Pair) -> str:
    return "best of three" if len(pair.right) == THREE else f"best of {len(pair.right)}"


def _how(right: Decimal, left: Decimal, percent: Decimal) -> str:
    if not percent:
        return "no difference"
    weak, strong = sorted((right, left))
    less = "right" if right < left else "left"
    text = f"{less} {_percent(abs(percent))} % less than {OTHER[less]}, of the stronger side"
    if weak:
        text += f" ({_percent((strong - weak) * 100 / weak)} % of the weaker)"
    return f"{text}; the weaker is {_percent(weak * 100 / strong)} % of the stronger"


def _percent(value: Decimal) -> str:
    return plain(value.quantize(_TENTH))


def _dominant(pair: _Pair, whose: Whose, tables: Tables) -> _Said:
    """Return how much stronger the dominant side is, in percent of the other side."""
    own, other = pair.best(whose.dominant), pair.best(OTHER[whose.dominant])
    if not other:
        missing = (_nothing(pair, OTHER[whose.dominant], tables),)
        return _Said(f"not worked out; {missing[0]}", missing=missing)
    percent = (own - other) * 100 / other
    more = "stronger" if percent >= 0 else "weaker"
    text = (
        f"{_summary(pair)}, dominant {whose.dominant} side {_percent(abs(percent))} % {more} "
        "than the other, of the other side"
    )
    return _Said(text, tidy(percent.quantize(_TENTH)))


def _corrected(pair: _Pair, dominant: str, factor: Decimal, source: str, tables: Tables) -> _Said:
    own, other = pair.best(dominant), pair.best(OTHER[dominant])
    if not other:
        missing = (_nothing(pair, OTHER[dominant], tables),)
        return _Said(f"not worked out; {missing[0]}", missing=missing)
    expected = other * factor
    share = own * 100 / expected
    text = (
        f"{_summary(pair)}, {dominant}-handed, so {plain(expected.quantize(_TENTH))} kgf expected "
        f"on the {dominant} ({OTHER[dominant]} x {plain(factor)}, {source}): {dominant} reaches "
        f"{_percent(share)} % of it. A mean of healthy people, not a limit"
    )
    return _Said(text, tidy(share.quantize(_TENTH)), sources=(source,))


def _nothing(pair: _Pair, side: str, tables: Tables) -> str:
    return f"{named(pair.place._replace(side=side), tables)} is 0, and nothing is a percentage of 0"


def _derived(name: str, pair: _Pair, said: _Said, tables: Tables) -> Derived:
    row, place = tables.computations[name], pair.place
    return Derived(
        name=name,
        rule=row.rule,
        joint=place.joint,
        digit=place.digit,
        side="both",
        qualifier=place.test,
        statement=sentence(f"{named(place, tables)}: {said.text}"),
        sources=tuple(dict.fromkeys((row.source, *said.sources))),
        evidence=row.evidence,
        used=(),
        value=said.value,
        unit=row.unit,
        flagged=said.flagged,
        missing=said.missing,
    )
