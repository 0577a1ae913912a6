"""A distance as a share of another one, the level it stands for, and how the sides differ.

Nothing here is turned into degrees. A level between two published places is interpolated and
called approximate; beyond the outermost places no level is told.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Used
from brachium.assess.measured import Subject, got, sentence, spot, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.options import MEMORY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brachium.assess.measured import Moved
    from brachium.tables.load import Tables
    from brachium.tables.ratio_rows import Ratio, RatioLevel

_SIDES = ("right", "left")
# the published error of a ratio has three decimals
_THOUSANDTH = Decimal("0.001")


class _Side(NamedTuple):
    """One side: the unrounded ratio or what is missing; ``recorded`` tells whether it was tried."""

    side: str
    value: Decimal | None
    used: tuple[Used, ...]
    missing: tuple[str, ...]
    recorded: bool


def ratios_of(groups: Moved, tables: Tables) -> tuple[Derived, ...]:
    """Return every ratio of an exam, by side and mode, and how the sides differ.

    A ratio is asked for by its upper distance: the lower one may serve several modes.
    """
    found: list[Derived] = []
    for row in tables.ratios:
        if row.evidence == MEMORY:
            continue
        sides = [_side(row, side, groups, tables) for side in _SIDES]
        found.extend(_ratio(row, one, tables) for one in sides if one.recorded)
        if any(one.recorded for one in sides):
            found.append(_difference(row, sides, tables))
    return tuple(found)


def _side(row: Ratio, side: str, groups: Moved, tables: Tables) -> _Side:
    over = got(groups, Subject(row.joint, "", side, row.mode), row.over, tables)
    under = got(groups, Subject(row.joint, "", side, row.under_mode), row.under, tables)
    used = tuple(one.used for one in (over, under) if one.used)
    missing = tuple(one.missing for one in (over, under) if one.missing)
    if over.value is None or under.value is None:
        return _Side(side, None, used, missing, bool(over.results))
    if not under.value:
        length = tables.motions[row.joint, row.under].phrase
        return _Side(side, None, used, (f"{side} {length}: 0, and nothing divides by 0",), True)
    return _Side(side, over.value / under.value, used, (), True)


def _ratio(row: Ratio, one: _Side, tables: Tables) -> Derived:
    if one.value is None:
        return _derived(
            row, row.computation, one, f"not worked out; {'; '.join(one.missing)}", tables
        )
    level, sources = _level(row, one.value, tables)
    over, under = (used.value for used in one.used)
    parts = [f"{over} of {under} = {_rounded(one.value)}", *level]
    if row.caution:
        parts.append(row.caution[:1].lower() + row.caution[1:])
    return _derived(row, row.computation, one, "; ".join(parts), tables, sources=sources)


def _level(row: Ratio, value: Decimal, tables: Tables) -> tuple[list[str], tuple[str, ...]]:
    """Return in words the level at a ratio, and where the places of levels were published."""
    rows = tables.ratio_levels.get(row.computation, ())
    levels = [one for one in rows if one.evidence != MEMORY]
    if not levels:
        return [], ()
    percent = value * 100
    sources = tuple(dict.fromkeys(one.source for one in levels))
    first, last = levels[0], levels[-1]
    if percent < first.percent:
        return [f"above {_place(first)}, higher than any published place"], sources
    if percent > last.percent:
        return [f"below {_place(last)}, lower than any published place"], sources
    between = next(pair for pair in pairwise(levels) if percent <= pair[1].percent)
    low, high = (_place(one) for one in between)
    return [f"about {_nearest(row, between, percent, tables)} (between {low} and {high})"], sources


def _place(level: RatioLevel) -> str:
    return f"{level.grade} at {plain(level.percent)} % ({level.source})"


def _nearest(
    row: Ratio, between: tuple[RatioLevel, RatioLevel], percent: Decimal, tables: Tables
) -> str:
    scale = tables.scales[row.scale]
    low, high = between
    start, end = scale[low.grade].ordinal, scale[high.grade].ordinal
    at = start + (end - start) * (percent - low.percent) / (high.percent - low.percent)
    return min(scale.values(), key=lambda grade: abs(grade.ordinal - at)).grade


def _difference(row: Ratio, sides: Sequence[_Side], tables: Tables) -> Derived:
    right, left = sides
    used = right.used + left.used
    missing = right.missing + left.missing
    if right.value is None or left.value is None:
        both = _Side("both", None, used, missing, recorded=True)
        said = f"sides not compared; {'; '.join(missing)}"
        return _derived(row, row.difference, both, said, tables)
    value = right.value - left.value
    beyond = abs(value) > row.detectable
    said = f"right {_rounded(right.value)}, left {_rounded(left.value)}; {_how(row, value, beyond)}"
    both = _Side("both", value, used, (), recorded=True)
    return _derived(row, row.difference, both, said, tables, flagged=beyond)


def _how(row: Ratio, value: Decimal, beyond: bool) -> str:
    """Say the difference beside what measuring alone can make."""
    if not value:
        return "no difference"
    size = plain(abs(value).quantize(_THOUSANDTH))
    than = "more than" if beyond else "not more than"
    word = row.more if value > 0 else row.less
    error = f"{than} the smallest detectable change of {plain(row.detectable)} ({row.source})"
    return f"right {size} {word} than left, {error}"


def _rounded(value: Decimal) -> str:
    return plain(value.quantize(_THOUSANDTH))


def _derived(
    row: Ratio,
    name: str,
    one: _Side,
    said: str,
    tables: Tables,
    *,
    flagged: bool = False,
    sources: tuple[str, ...] = (),
) -> Derived:
    made = tables.computations[name]
    side = "" if one.side == "both" else f"{one.side} "
    place = f"{side}{spot(row.joint, '', tables)}, {row.mode}"
    return Derived(
        name=made.computation,
        rule=made.rule,
        joint=row.joint,
        digit="",
        side=one.side,
        qualifier=row.mode,
        statement=sentence(f"{place}, {made.phrase}: {said}"),
        sources=tuple(dict.fromkeys((made.source, row.source, *sources))),
        evidence=made.evidence,
        used=one.used,
        value=None if one.value is None else tidy(one.value.quantize(_THOUSANDTH)),
        unit=made.unit,
        flagged=flagged,
        missing=one.missing,
    )
