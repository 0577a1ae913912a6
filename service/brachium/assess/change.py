"""One measure in two exams: how much it changed, and whether that is more than measuring makes.

Comparable is what was measured on the same side in the same mode, arm position, method and body
position. A change counts when it passes every limit that fits; it is then named by whether it goes
towards the reference. Nothing is said of a measure whose error nobody published or proposed.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.change_limits import aim, limits, measure_of
from brachium.assess.measured import sentence, tidy
from brachium.assess.wording import unit_words
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from brachium.assess.change_limits import Aim, Limit
    from brachium.assess.visits import Matter, Taken, Way
    from brachium.tables.load import Tables

CHANGE_RULE = "change-since/1.1"
IMPROVED, WORSE = "improved", "worse"
UNDETECTED, INCOMPARABLE = "no-detectable-change", "not-comparable"
VERDICTS = (IMPROVED, WORSE, UNDETECTED, INCOMPARABLE)
# codes of why two measures are not compared
OTHER = ("other-mode", "other-arm-position", "other-method", "other-position")
OTHER_TRIALS, NO_ERROR, NEITHER_WAY = "other-number-of-trials", "no-known-error", "neither-better"
WHYS = (*OTHER, OTHER_TRIALS, NO_ERROR, NEITHER_WAY)
_UNITS = {"angle": "deg", "end": "deg", "distance": "cm", "force": "kg", "grade": ""}
_CENT = Decimal("0.01")
# what cannot be compared is our own convention
_OWN = ("OWN_PROPOSAL",)


class Change(NamedTuple):
    """A measure held against the same one of an earlier exam, ``before``.

    ``delta`` is later minus earlier in ``unit`` (an end of extension flexion-positive, so less is
    nearer to straight; a grade in steps of its scale), two decimals at most; ``None`` when the two
    were measured differently. ``error`` is the largest limit, ``None`` where none is known.
    ``why`` holds codes, of a verdict that is not comparable. ``evidence`` is own: limits and the
    naming of changes are conventions of this service.
    """

    before: Taken
    now: Taken
    verdict: str
    delta: Decimal | None
    unit: str
    error: Decimal | None
    why: tuple[str, ...]
    statement: str
    sources: tuple[str, ...]
    rule: str = CHANGE_RULE
    evidence: str = "own"

    @property
    def provisional(self) -> bool:
        """Whether one of the two exams is preliminary and may still change."""
        return self.before.visit.provisional or self.now.visit.provisional


def unit_of(matter: Matter, tables: Tables) -> str:
    """Return the unit that values of a measure are compared in; empty for a grade."""
    return _UNITS[measure_of(matter, tables)]


def compare(matter: Matter, way: Way, old: Taken, new: Taken, name: str, tables: Tables) -> Change:
    """Compare two values that were measured in the same way; ``name`` says what they are."""
    unit = unit_of(matter, tables)
    if old.value is None or new.value is None:
        raise ValueError("only values are compared")
    if old.trials != new.trials:
        why = f"the mean of {old.trials} and of {new.trials} trials are not compared"
        return _incomparable(old, new, unit, OTHER_TRIALS, name, why)
    delta = new.value - old.value
    found = limits(matter, way, old, new, tables)
    if not found:
        why = "how much measuring alone can make is not known here"
        return _incomparable(old, new, unit, NO_ERROR, name, why, delta)
    goal = aim(matter, way, new.visit.person, tables)
    verdict = _verdict(goal, found, old.value, new.value)
    said, sources = verdict.replace("-", " "), [one.source for one in found]
    if verdict == INCOMPARABLE:
        said = "neither better nor worse"
    if verdict != UNDETECTED:
        said += f" ({goal.text})" + _beyond(goal, new.value)
        sources += goal.sources
    text = f"{name}: {_from_to(old, new, delta, unit, tables)}, {said}"
    text += f"; {' and '.join(_limit_said(one, unit, tables) for one in found)}"
    return Change(
        before=old,
        now=new,
        verdict=verdict,
        delta=shown(delta),
        unit=unit,
        error=max(one.value for one in found),
        why=(NEITHER_WAY,) if verdict == INCOMPARABLE else (),
        statement=_finished(text, old, new),
        sources=tuple(dict.fromkeys(sources)),
    )


def differing(name: str, old: Taken, new: Taken, before: Way, now: Way, tables: Tables) -> Change:
    """Return what is said of a measure that an earlier exam took in another way."""
    pairs = [
        (code, aspect, one, other)
        for code, aspect, one, other in zip(OTHER, now._fields, before, now, strict=True)
        if one != other
    ]
    words = [
        f"{code.replace('-', ' ')} ({_aspect(aspect, one, tables)} before, "
        f"{_aspect(aspect, other, tables)} now)"
        for code, aspect, one, other in pairs
    ]
    text = f"{name}: {new.said} is not compared with {old.said}: {', '.join(words)}"
    codes = tuple(code for code, *_ in pairs)
    statement = _finished(text, old, new)
    return Change(old, new, INCOMPARABLE, None, "", None, codes, statement, _OWN)


def _incomparable(
    old: Taken,
    new: Taken,
    unit: str,
    code: str,
    name: str,
    why: str,
    delta: Decimal | None = None,
) -> Change:
    text = _finished(f"{name}: {new.said} after {old.said}, not comparable: {why}", old, new)
    given = None if delta is None else shown(delta)
    return Change(old, new, INCOMPARABLE, given, unit, None, (code,), text, _OWN)


def _verdict(goal: Aim, found: tuple[Limit, ...], old: Decimal, new: Decimal) -> str:
    """Nearer to the reference is better; equally far on both sides of it, the near side is."""
    if not all(one.passed(abs(new - old)) for one in found):
        return UNDETECTED
    before, after = goal.goodness(old), goal.goodness(new)
    if after != before:
        return IMPROVED if after > before else WORSE
    if goal.beyond(old) or goal.beyond(new):
        return IMPROVED if goal.beyond(old) else WORSE
    return INCOMPARABLE


def _beyond(goal: Aim, value: Decimal) -> str:
    return ", and now beyond the reference" if goal.beyond(value) else ""


def _from_to(old: Taken, new: Taken, delta: Decimal, unit: str, tables: Tables) -> str:
    sign = "+" if delta > 0 else ""
    change = f"{sign}{shown(delta):f} {_unit(unit, tables)}"
    return f"{new.said} after {old.said} ({change})"


@lru_cache(maxsize=256)
def _limit_said(one: Limit, unit: str, tables: Tables) -> str:
    size = f"{one.value:f} {_unit(unit, tables)}"
    needed = f"{size} or more" if one.inclusive else f"more than {size}"
    return f"{needed} counts ({one.meaning}; {one.source})"


@lru_cache(maxsize=16)
def _unit(unit: str, tables: Tables) -> str:
    return unit_words(unit, tables) if unit else "on the scale"


def _aspect(aspect: str, word: str, tables: Tables) -> str:
    """Name a mode, an arm position, a method or a body position in running text."""
    if not word:
        return "not stated"
    if aspect == "mode":
        return word
    if aspect == "method":
        return in_text(tables.methods[word].label)
    return in_text(tables.options[aspect.replace("_", "-"), word].label)


def way_said(way: Way, tables: Tables) -> str:
    """Return method and body position in running text; mode and arm position are in the name."""
    position = _aspect("position", way.position, tables) if way.position else "position not stated"
    return f"{_aspect('method', way.method, tables)}; {position}"


def _finished(text: str, old: Taken, new: Taken) -> str:
    provisional = old.visit.provisional or new.visit.provisional
    draft = "; an exam is preliminary" if provisional else ""
    return sentence(f"{text}{draft} (rule {CHANGE_RULE})")


def shown(value: Decimal) -> Decimal:
    """Return a number with the decimals that it has, two at most."""
    if not value:
        return Decimal(0)
    _, _, exponent = value.as_tuple()
    return tidy(value.quantize(_CENT)) if int(exponent) < -2 else value
