"""Arcs of motion: from where to where a joint moves on one axis, and what of it daily tasks need.

The arc is the end less the start; the neutral-zero text of it stands in its statement. An arc is
worked out where the exam speaks of both motions of an axis; nothing is assumed for the other one.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Used
from brachium.assess.errors import error_of
from brachium.assess.measured import Subject, got, sentence, spot, tidy
from brachium.assess.neutral_zero import Span, plain, write
from brachium.tables.computation_rows import ARC, WINDOW
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.assess.measured import Moved
    from brachium.tables.computation_rows import Axis, Window
    from brachium.tables.load import Tables

_CENT = Decimal("0.01")
# what somebody else can do with a joint helps nobody through the day
_TASKS = "active"


class Arc(NamedTuple):
    """One axis of one subject; ``span`` is ``None`` exactly when something is ``missing``."""

    subject: Subject
    axis: Axis
    span: Span | None
    used: tuple[Used, ...]
    missing: tuple[str, ...]


def arcs_of(groups: Moved, tables: Tables) -> tuple[Derived, ...]:
    """Return the arcs and functional windows of motions that are grouped already."""
    found: list[Derived] = []
    for arc in spans(groups, tables):
        used = arc.used
        # the cache knows an arc by its ends, not by who was examined
        known = arc._replace(used=())
        found.extend(made._replace(used=used) for made in _made(known, tables))
    return tuple(found)


@lru_cache(maxsize=8192)
def _made(arc: Arc, tables: Tables) -> tuple[Derived, ...]:
    windows = _windows(arc.axis, tables) if arc.subject.mode == _TASKS else ()
    return _arc(arc, tables), *(_window(arc, window, tables) for window in windows)


def spans(groups: Moved, tables: Tables) -> Iterable[Arc]:
    """Yield the axes of which the exam speaks of both motions, one of them with a result."""
    for subject, motions in groups.items():
        for axis in _axes(subject.joint, tables):
            if axis.first not in motions or axis.second not in motions:
                continue
            away = got(groups, subject, axis.first, tables)
            towards = got(groups, subject, axis.second, tables)
            used = tuple(one.used for one in (away, towards) if one.used)
            if away.value is None or towards.value is None:
                missing = tuple(one.missing for one in (away, towards) if one.missing)
                if used:
                    yield Arc(subject, axis, None, used, missing)
                continue
            ends = tables.motions[subject.joint, axis.first].measure == "end"
            span = Span(away.value if ends or not away.value else -away.value, towards.value)
            yield _checked(Arc(subject, axis, span, used, ()))


def _checked(arc: Arc) -> Arc:
    if arc.span is None or arc.span.start <= arc.span.end:
        return arc
    start, end = plain(arc.span.start), plain(arc.span.end)
    why = f"the end of {end} deg lies before the start of {start} deg: one of them is wrong"
    return arc._replace(span=None, missing=(why,))


def _arc(arc: Arc, tables: Tables) -> Derived:
    row = tables.computations[ARC]
    fixed = arc.span is not None and arc.span.start == arc.span.end
    return Derived(
        name=ARC,
        rule=row.rule,
        joint=arc.subject.joint,
        digit=arc.subject.digit,
        side=arc.subject.side,
        qualifier=_qualifier(arc, ""),
        statement=_arc_text(arc, tables),
        sources=tuple(dict.fromkeys((row.source, arc.axis.source))),
        evidence=row.evidence,
        used=arc.used,
        value=None if arc.span is None else tidy(arc.span.end - arc.span.start),
        unit=row.unit,
        flagged=fixed,
        missing=arc.missing,
    )


def _arc_text(arc: Arc, tables: Tables) -> str:
    subject, axis, span, _, missing = arc
    phrase = tables.computations[ARC].phrase
    place = f"{_place(subject, tables)}: "
    if span is None:
        return sentence(f"{place}{phrase} not worked out; {'; '.join(missing)}")
    text = write(span, *_phrases(axis, tables))
    if span.start == span.end:
        held = _bound(span.end, axis, tables)
        return sentence(f"{place}no {subject.mode} motion, held at {held}; {text}")
    return sentence(f"{place}{phrase} {plain(span.end - span.start)} deg; {text}")


def _window(arc: Arc, window: Window, tables: Tables) -> Derived:
    row = tables.computations[WINDOW]
    coverage, lacks = _coverage(arc.span, window)
    error = error_of(arc.subject.joint, tables)
    # less than measuring alone can differ does not stand out
    limit = (error.value if error else None) or Decimal(0)
    sources = (window.source, *(() if error is None else (error.source,)))
    return Derived(
        name=WINDOW,
        rule=row.rule,
        joint=arc.subject.joint,
        digit=arc.subject.digit,
        side=arc.subject.side,
        qualifier=_qualifier(arc, window.window),
        statement=_covers(arc, window, coverage, tables),
        sources=tuple(dict.fromkeys(sources)),
        evidence=window.evidence,
        used=arc.used,
        value=coverage,
        unit=row.unit,
        flagged=max(lacks) > limit,
        missing=arc.missing,
    )


def _coverage(span: Span | None, window: Window) -> tuple[Decimal | None, tuple[Decimal, Decimal]]:
    """Return how much of the window is covered, in percent, and what each end lacks in degrees."""
    zero = Decimal(0)
    if span is None:
        return None, (zero, zero)
    overlap = max(zero, min(window.high, span.end) - max(window.low, span.start))
    percent = (overlap * 100 / (window.high - window.low)).quantize(_CENT)
    return tidy(percent), (max(zero, span.start - window.low), max(zero, window.high - span.end))


def _covers(arc: Arc, window: Window, coverage: Decimal | None, tables: Tables) -> str:
    ends = " to ".join(_bound(end, arc.axis, tables) for end in (window.low, window.high))
    what = f"{window.label} ({ends}; {window.source})"
    place = f"{_place(arc.subject, tables)}: "
    if arc.span is None or coverage is None:
        return sentence(f"{place}coverage of the {what} not worked out; {'; '.join(arc.missing)}")
    short = []
    if arc.span.start > window.low:
        short.append(f"starts at {_bound(arc.span.start, arc.axis, tables)}")
    if arc.span.end < window.high:
        short.append(f"ends at {_bound(arc.span.end, arc.axis, tables)}")
    if not short:
        return sentence(f"{place}covers the {what}")
    some = f"covers {plain(coverage)} % of the {what}"
    return sentence(f"{place}{some}, so not all of it: {', '.join(short)}")


def _bound(value: Decimal, axis: Axis, tables: Tables) -> str:
    first, second = _phrases(axis, tables)
    if not value:
        return "0 deg"
    return f"{plain(abs(value))} deg {first if value < 0 else second}"


@lru_cache(maxsize=1024)
def _place(subject: Subject, tables: Tables) -> str:
    place = f"{subject.side} {spot(subject.joint, subject.digit, tables)}, {subject.mode}"
    if not subject.arm:
        return place
    return f"{place}, {in_text(tables.options['arm-position', subject.arm].label)}"


def _qualifier(arc: Arc, window: str) -> str:
    what = window or f"{arc.axis.first}-{arc.axis.second}"
    return "-".join(word for word in (what, arc.subject.mode, arc.subject.arm) if word)


@lru_cache(maxsize=256)
def _phrases(axis: Axis, tables: Tables) -> tuple[str, str]:
    motions = tables.motions
    return motions[axis.joint, axis.first].phrase, motions[axis.joint, axis.second].phrase


@lru_cache(maxsize=256)
def _axes(joint: str, tables: Tables) -> tuple[Axis, ...]:
    return tuple(axis for axis in tables.axes if axis.joint == joint)


@lru_cache(maxsize=256)
def _windows(axis: Axis, tables: Tables) -> tuple[Window, ...]:
    return tuple(w for w in tables.windows if (w.joint, w.motion) == (axis.joint, axis.second))
