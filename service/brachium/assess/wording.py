"""Findings in the words of the trade: what was asked, of which side, and what came out.

Everything that is named here comes from the tables; digits of values stay as they were written.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.judgement import grade_text
from brachium.assess.measured import spot
from brachium.exam.findings import Converted, Motion, Part, Quantity, Sign, Strength
from brachium.tables.concepts import ABSENCES, in_text

if TYPE_CHECKING:
    from brachium.exam.findings import Absent
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

# what examiners do first comes first
_TRADE_ORDER = ("inspection", "palpation", "motion", "strength")
_SIDES = {"left": "left", "right": "right", "both": "right and left"}


class Topic(NamedTuple):
    """What a finding is about, without its side; empty where a word does not belong to the kind.

    ``part`` is one of the four parts of an examination; ``whole`` tells that the part was recorded
    at once; ``item`` is the sign, motion or test.
    """

    joint: str
    part: str
    whole: bool
    item: str
    digit: str = ""
    site: str = ""
    mode: str = ""
    arm: str = ""


def topic(leaf: Leaf) -> Topic:
    """Return what a leaf is about."""
    finding = leaf.finding
    joint, digit = finding.joint, finding.digit or ""
    if isinstance(finding, Motion):
        mode, arm = finding.mode, finding.arm_position or ""
        return Topic(joint, "motion", False, finding.motion, digit, "", mode, arm)
    if isinstance(finding, Sign):
        return Topic(joint, finding.kind, False, finding.sign, digit, finding.site)
    if isinstance(finding, Part):
        return Topic(joint, finding.part, True, "", digit)
    return Topic(joint, "strength", False, finding.test, digit)


@lru_cache(maxsize=16384)
def named(about: Topic, side: str, tables: Tables) -> str:
    """Name a topic of a side: "right elbow flexion, active", "tenderness over right clavicle"."""
    where = f"{_SIDES[side]} {spot(about.joint, about.digit, tables)}"
    if about.whole:
        return f"{where}, {about.part} as a whole"
    if about.site:
        place = f"{_SIDES[side]} {_place(about, tables)}"
        return _phrase(about, tables).replace("{site}", place)
    return f"{where} {_phrase(about, tables)}"


@lru_cache(maxsize=16384)
def row_label(about: Topic, tables: Tables) -> str:
    """Name a topic within the account of its joint: "flexion, active"."""
    finger = f"{in_text(tables.digits[about.digit].label)}: " if about.digit else ""
    if about.whole:
        return f"{finger}{about.part} as a whole"
    if about.site:
        return _phrase(about, tables).replace("{site}", _place(about, tables))
    return finger + _phrase(about, tables)


@lru_cache(maxsize=16384)
def place_in_order(about: Topic, tables: Tables) -> tuple[object, ...]:
    """Return a sort key: joint, digit, then looking, feeling, moving and testing strength."""
    joint = tables.joints[about.joint].order
    digit = tables.digits[about.digit].order if about.digit else 0
    part = _TRADE_ORDER.index(about.part)
    if about.whole:
        item = (0, 0)
    elif about.site:
        sign = tables.signs[about.part, about.item].order
        item = (tables.sites[about.joint, about.part, about.site].order, sign)
    elif about.part == "motion":
        item = (tables.motions[about.joint, about.item].order, 0)
    else:
        item = (tables.strength[about.joint, about.item].order, 0)
    return joint, digit, part, *item, about.mode, about.arm


def _phrase(about: Topic, tables: Tables) -> str:
    if about.site:
        return tables.signs[about.part, about.item].phrase
    if about.part == "strength":
        return f"{tables.strength[about.joint, about.item].phrase} strength"
    words = tables.motions[about.joint, about.item].phrase
    if about.arm:
        words += f" ({in_text(tables.options['arm-position', about.arm].label)})"
    return f"{words}, {about.mode}"


def _place(about: Topic, tables: Tables) -> str:
    row = tables.sites[about.joint, about.part, about.site]
    if not about.digit:
        return in_text(row.label)
    finger = in_text(tables.digits[about.digit].label)
    # a site without a structure of its own is the digit itself
    return f"{finger} {in_text(row.label)}" if row.structure else finger


def result(leaf: Leaf, tables: Tables) -> str:
    """Return the result of a leaf in words, or why there is none."""
    finding = leaf.finding
    if finding.absent is not None:
        return absence(finding.absent, tables)
    if isinstance(finding, Sign):
        row = tables.signs[finding.kind, finding.sign]
        said = in_text(row.present if finding.present else row.absent)
        return said if finding.severity is None else f"{said}, {finding.severity:f} of 10"
    if isinstance(finding, Motion):
        return _moved(finding, tables)
    if isinstance(finding, Strength):
        return _tested(finding, tables)
    return (finding.outcome or "").replace("-", " ")


def _moved(finding: Motion, tables: Tables) -> str:
    if finding.end is not None:
        words = finding.end.replace("-", " ")
        return f"{amount(finding.magnitude, tables)} {words}" if finding.magnitude else words
    measured = finding.angle or finding.distance
    if measured is not None:
        return amount(measured, tables)
    scale = tables.motions[finding.joint, finding.motion].scale
    return f"{in_text(tables.scales[scale][finding.grade or ''].label)} (grade {finding.grade})"


def _tested(finding: Strength, tables: Tables) -> str:
    if finding.trials:
        return ", ".join(amount(trial, tables) for trial in finding.trials)
    scale = tables.strength[finding.joint, finding.test].scale
    return grade_text(scale, finding.grade or "")


def amount(measured: Quantity, tables: Tables) -> str:
    """Return a quantity in words, digits as written; a converted one with what was posted."""
    said = f"{measured.value:f} {unit_words(measured.unit, tables)}"
    if isinstance(measured, Converted):
        said += f" (entered as {measured.original.value:f} {measured.original.unit})"
    return said


def unit_words(unit: str, tables: Tables) -> str:
    """Return a unit as it is read: the base unit of angles in full, any other by its label."""
    row = tables.units[unit]
    return "degrees" if row.dimension == "angle" and row.unit == row.base else row.label


def absence(absent: Absent, tables: Tables) -> str:
    """Return why there is no result: "not tested (pain)"."""
    why = in_text(ABSENCES[absent.reason])
    if absent.because:
        why += f" ({in_text(tables.options['limiter', absent.because].label)})"
    return why


def circumstances(leaf: Leaf, tables: Tables) -> str:
    """Return method, position and what limited a finding, as far as the examiner stated them."""
    finding = leaf.finding
    if not isinstance(finding, (Motion, Strength)):
        return ""
    return _stated(finding.method or "", finding.position or "", finding.limited_by, tables)


@lru_cache(maxsize=4096)
def _stated(method: str, position: str, limited_by: tuple[str, ...], tables: Tables) -> str:
    said = [in_text(tables.methods[method].label)] if method else []
    if position:
        said.append(in_text(tables.options["position", position].label))
    if limited_by:
        limits = (in_text(tables.options["limiter", one].label) for one in limited_by)
        said.append(f"limited by {' and '.join(limits)}")
    return "; ".join(said)
