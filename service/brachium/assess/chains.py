"""Joints of one digit that move as one: total active and passive motion, and percentages of it.

The sum of what every joint bends, less the sum of what every joint falls short of straight; beyond
straight is no bonus. Which joints make a chain, and which published words grade it, is rows. Every
input must be recorded. A result stands out when every grading that has a word for it puts it third
or lower, which is this service's own convention.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Grading, Used
from brachium.assess.measured import Subject, got, moved, sentence, spot, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.options import MEMORY

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brachium.assess.measured import Moved
    from brachium.assess.options import AssessOptions
    from brachium.exam.leaves import Leaf
    from brachium.tables.computation_rows import Band, Chain
    from brachium.tables.load import Tables

_CENT = Decimal("0.01")
_THIRD = 3
_OTHER = {"right": "left", "left": "right"}


class _Sum(NamedTuple):
    bent: Decimal
    short: Decimal
    used: tuple[Used, ...]
    missing: tuple[str, ...]

    @property
    def net(self) -> Decimal:
        return self.bent - self.short


def chains(leaves: Iterable[Leaf], tables: Tables, options: AssessOptions) -> tuple[Derived, ...]:
    """Return the sums of every digit and side of which at least one input was recorded."""
    return chains_of(moved(leaves, tables), tables, options)


def chains_of(groups: Moved, tables: Tables, options: AssessOptions) -> tuple[Derived, ...]:
    """Return the sums of motions that are grouped already."""
    recorded = {(one.joint, one.mode) for one in groups}
    found: list[Derived] = []
    for chain in tables.chains:
        if not options.allows(chain.evidence):
            continue
        if not any((joint, chain.mode) in recorded for joint in chain.joints):
            continue
        for digit in tables.joints[chain.joints[0]].digits or ("",):
            sums = {side: _sum(groups, chain, digit, side, tables) for side in _OTHER}
            found.extend(
                _derived(chain, digit, side, sums, tables, options)
                for side in _OTHER
                if sums[side].used
            )
    return tuple(found)


def _sum(groups: Moved, chain: Chain, digit: str, side: str, tables: Tables) -> _Sum:
    bent = short = Decimal(0)
    used: list[Used] = []
    missing: list[str] = []
    subjects = [Subject(joint, digit, side, chain.mode) for joint in chain.joints]
    if not any(subject in groups for subject in subjects):
        return _Sum(bent, short, (), ())
    for subject in subjects:
        reach = got(groups, subject, chain.reach, tables)
        deficit = got(groups, subject, chain.deficit, tables)
        bent += reach.value or 0
        short += max(Decimal(0), deficit.value or Decimal(0))
        used.extend(one.used for one in (reach, deficit) if one.used)
        missing.extend(one.missing for one in (reach, deficit) if one.missing)
    return _Sum(bent, short, tuple(used), tuple(missing))


def _derived(
    chain: Chain,
    digit: str,
    side: str,
    sums: dict[str, _Sum],
    tables: Tables,
    options: AssessOptions,
) -> Derived:
    total, other = sums[side], sums[_OTHER[side]]
    beside = other.net if other.used and not other.missing else None
    # the cache knows a sum by its numbers, not by who was examined
    known = total._replace(used=())
    made = _made(chain, digit, side, known, beside, tables, options)
    return made._replace(used=total.used)


@lru_cache(maxsize=8192)
def _made(
    chain: Chain,
    digit: str,
    side: str,
    total: _Sum,
    beside: Decimal | None,
    tables: Tables,
    options: AssessOptions,
) -> Derived:
    row = tables.computations[chain.computation]
    graded = [] if total.missing else _graded(chain, total.net, tables, options)
    evidence = row.evidence
    if MEMORY in (chain.evidence, *(band.evidence for band in graded)):
        evidence = MEMORY
    said = _unknown(total) if total.missing else _said(chain, total, graded)
    if beside is not None and not total.missing:
        said += f"; {_OTHER[side]} side {plain(beside)} deg"
    said += "; from memory, not read in its publication" if evidence == MEMORY else ""
    place = f"{side} {spot(chain.joint, digit, tables)}: {row.phrase}"
    return Derived(
        name=chain.computation,
        rule=row.rule,
        joint=chain.joint,
        digit=digit,
        side=side,
        qualifier=chain.mode,
        statement=sentence(f"{place} {said}"),
        sources=tuple(dict.fromkeys((row.source, chain.source, *(b.source for b in graded)))),
        evidence=evidence,
        used=(),
        value=None if total.missing else _value(chain, total.net),
        unit=row.unit,
        flagged=bool(graded) and all(band.rank >= _THIRD for band in graded),
        gradings=tuple(Grading(band.scheme, band.word, band.source) for band in graded),
        missing=total.missing,
    )


def _value(chain: Chain, net: Decimal) -> Decimal:
    if chain.percent and chain.norm:
        return tidy((net * 100 / chain.norm).quantize(_CENT))
    return tidy(net)


def _graded(chain: Chain, net: Decimal, tables: Tables, options: AssessOptions) -> list[Band]:
    percent = net * 100 / chain.norm if chain.norm else None
    found = []
    for bands in _schemes(chain, tables):
        value = percent if bands[0].on == "percent" else net
        if value is None or not options.allows(bands[0].evidence):
            continue
        band = next(band for band in bands if _holds(band, value))
        if band.word:
            found.append(band)
    return found


def _holds(band: Band, value: Decimal) -> bool:
    """Bands are published as whole numbers with gaps; the value is never rounded into one."""
    if band.floor is None:
        return True
    return value >= band.floor if band.inclusive else value > band.floor


@lru_cache(maxsize=64)
def _schemes(chain: Chain, tables: Tables) -> tuple[tuple[Band, ...], ...]:
    found: dict[str, list[Band]] = {}
    for band in tables.bands.get((chain.computation, chain.chain), ()):
        found.setdefault(band.scheme, []).append(band)
    return tuple(tuple(bands) for bands in found.values())


def _unknown(total: _Sum) -> str:
    return f"not worked out; {'; '.join(total.missing)}"


def _said(chain: Chain, total: _Sum, graded: Sequence[Band]) -> str:
    net = f"{plain(total.net)} deg"
    if chain.norm:
        percent = plain((total.net * 100 / chain.norm).quantize(_CENT))
        whole = f"{percent} % of {plain(chain.norm)} deg ({chain.source})"
        net = f"{whole}, from {net}" if chain.percent else f"{net}, {whole}"
    text = f"{net} (bent {plain(total.bent)}, short of straight {plain(total.short)})"
    if graded:
        text += "; " + ", ".join(f"{band.scheme}: {band.word}" for band in graded)
    return text
