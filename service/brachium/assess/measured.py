"""The motions of an exam by what was asked, and the one value or the reason why there is none."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.derived import Used
from brachium.assess.errors import instrument
from brachium.assess.neutral_zero import plain
from brachium.assess.values import end_position, in_base_unit
from brachium.exam.findings import Motion
from brachium.tables.concepts import ABSENCES, in_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables


class Subject(NamedTuple):
    """What is moved, and how: ``digit`` and ``arm`` (position) are empty where there is none."""

    joint: str
    digit: str
    side: str
    mode: str
    arm: str = ""


class Got(NamedTuple):
    """One motion of one subject: its value with the finding behind it, or what is missing.

    ``value`` is in degrees, centimetres (base units) or the ordinal of a grade; an end of
    extension is flexion-positive. ``results`` counts the findings that have a result. ``method`` is
    how the value was measured, empty when no instrument is stated.
    """

    value: Decimal | None
    used: Used | None
    missing: str
    results: int
    method: str = ""


Moved: TypeAlias = "Mapping[Subject, Mapping[str, Got]]"


def moved(leaves: Iterable[Leaf], tables: Tables) -> Moved:
    """Return the value of every motion of an exam, by subject, then by motion."""
    found: dict[Subject, dict[str, Got]] = {}
    for leaf in leaves:
        finding = leaf.finding
        if type(finding) is Motion:
            subject = Subject(
                finding.joint,
                finding.digit or "",
                leaf.side,
                finding.mode,
                finding.arm_position or "",
            )
            motions = found.setdefault(subject, {})
            one = _got(leaf, finding, subject, tables)
            before = motions.get(finding.motion)
            motions[finding.motion] = _joined(before, one, subject, finding.motion, tables)
    return found


def got(groups: Moved, subject: Subject, motion: str, tables: Tables) -> Got:
    """Return a motion of a subject, also one of which the exam says nothing."""
    found = groups.get(subject)
    one = found.get(motion) if found else None
    return _unrecorded(subject, motion, tables) if one is None else one


def _got(leaf: Leaf, finding: Motion, subject: Subject, tables: Tables) -> Got:
    value = value_of(finding, tables)
    if value is not None:
        used = Used(leaf.key, said(finding, tables))
        return Got(value, used, "", 1, instrument(finding.method, tables))
    missing = f"{named(subject, finding.motion, tables)}: {_why_absent(finding, tables)}"
    return Got(None, None, missing, 0)


def _joined(before: Got | None, one: Got, subject: Subject, motion: str, tables: Tables) -> Got:
    """Join two findings of one motion. Two values are none: which one holds would be a guess."""
    if before is None or not before.results:
        return one
    if not one.results:
        return before
    results = before.results + one.results
    why = f"recorded {results} times, and which one holds would be a guess"
    return Got(None, None, f"{named(subject, motion, tables)}: {why}", results)


@lru_cache(maxsize=4096)
def _unrecorded(subject: Subject, motion: str, tables: Tables) -> Got:
    return Got(None, None, f"{named(subject, motion, tables)}: not recorded", 0)


def value_of(finding: Motion, tables: Tables) -> Decimal | None:
    """Return the number a motion stands for, or ``None`` when it has no result."""
    if finding.absent is not None:
        return None
    if finding.end is not None:
        return end_position(finding)
    quantity = finding.angle or finding.distance
    if quantity is not None:
        return in_base_unit(quantity, tables.units[quantity.unit])
    if finding.grade is None:
        return None
    scale = tables.motions[finding.joint, finding.motion].scale
    return tables.scales[scale][finding.grade].ordinal


def said(finding: Motion, tables: Tables) -> str:
    """Return the result of a motion in words, digits as recorded."""
    if finding.end is not None:
        size = finding.magnitude
        words = finding.end.replace("-", " ")
        return f"{size.value:f} {tables.units[size.unit].label} {words}" if size else words
    quantity = finding.angle or finding.distance
    if quantity is not None:
        return f"{quantity.value:f} {tables.units[quantity.unit].label}"
    return finding.grade or ""


def tidy(value: Decimal) -> Decimal:
    """Return a worked-out number without trailing zeros, and without a power of ten."""
    return Decimal(plain(value))


@lru_cache(maxsize=4096)
def named(subject: Subject, motion: str, tables: Tables) -> str:
    """Name a motion of a subject: "right middle finger PIP joint flexion, active"."""
    words = [subject.side, spot(subject.joint, subject.digit, tables)]
    words.append(tables.motions[subject.joint, motion].phrase)
    if subject.arm:
        words[-1] += f" ({in_text(tables.options['arm-position', subject.arm].label)})"
    return f"{' '.join(words)}, {subject.mode}"


@lru_cache(maxsize=1024)
def spot(joint: str, digit: str, tables: Tables) -> str:
    """Return a joint, and its digit, without side: "middle finger PIP joint", "elbow"."""
    row = tables.joints[joint]
    if not digit:
        return in_text(row.label)
    finger = in_text(tables.digits[digit].label)
    own = in_text(row.label)
    # the joints of the thumb name it themselves
    if not row.digits or own.startswith(finger):
        return own if row.digits else finger
    return f"{finger} {own}"


def sentence(text: str) -> str:
    """Return a text as a sentence: capital first letter and a full stop."""
    return f"{text[:1].upper()}{text[1:]}."


def _why_absent(finding: Motion, tables: Tables) -> str:
    if finding.absent is None:
        return "no result"
    why = in_text(ABSENCES[finding.absent.reason])
    if finding.absent.because:
        why += f" ({in_text(tables.options['limiter', finding.absent.because].label)})"
    return why
