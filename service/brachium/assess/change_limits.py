"""How much a measure must change before it counts, and which way its reference lies.

Angles: what measuring alone can make (errors.csv) for the motion and the instrument, by one
examiner where both exams name the same identifier, else by different ones. Grades, distances and
forces: every row of changes.csv that fits the patient. Rows from memory never take part.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.errors import DIFFERENT, SAME, Two, allowance, instrument
from brachium.assess.options import MEMORY
from brachium.assess.reference import reference
from brachium.assess.visits import MOTION
from brachium.tables.change_rows import FROM, LESS, NEITHER

if TYPE_CHECKING:
    from brachium.assess.errors import Allowance
    from brachium.assess.judgement import Person
    from brachium.assess.visits import Matter, Taken, Way
    from brachium.tables.change_rows import Detectable
    from brachium.tables.load import Tables

_RATERS = {SAME: "one examiner in both exams", DIFFERENT: "different examiners"}
_ANGLES = ("angle", "end")
_SEXES = ("male", "female")


class Limit(NamedTuple):
    """A size that a change must pass: beyond ``value``, or from it on when ``inclusive``."""

    value: Decimal
    inclusive: bool
    meaning: str
    source: str
    evidence: str

    def passed(self, size: Decimal) -> bool:
        """Tell whether a change of this size counts."""
        return size >= self.value if self.inclusive else size > self.value


class Aim(NamedTuple):
    """Which way is better: ``sign`` 1 upwards, -1 downwards, 0 neither.

    It is better as far as ``reached``, then neither better nor worse as far as ``turn``, and
    beyond it worse, both on the axis of the values; ``None``: it never ends. ``text`` and
    ``sources`` say what the reference is.
    """

    sign: int
    reached: Decimal | None
    turn: Decimal | None
    text: str
    sources: tuple[str, ...] = ()

    def goodness(self, value: Decimal) -> Decimal:
        """Return a number that rises towards the reference, and falls again beyond it."""
        good = value * self.sign
        if self.reached is None or self.turn is None:
            return good
        return min(good, self.reached * self.sign) - max(good - self.turn * self.sign, Decimal(0))

    def beyond(self, value: Decimal) -> bool:
        """Tell whether a value lies on the far side of the reference."""
        return self.turn is not None and value * self.sign > self.turn * self.sign


def measure_of(matter: Matter, tables: Tables) -> str:
    """Return what is measured: angle, end, grade, distance or force."""
    key = (matter.joint, matter.item)
    return tables.motions[key].measure if matter.kind == MOTION else tables.strength[key].measure


def limits(matter: Matter, way: Way, old: Taken, new: Taken, tables: Tables) -> tuple[Limit, ...]:
    """Return what a change from ``old`` to ``new`` must pass; nothing where no error is known."""
    if measure_of(matter, tables) in _ANGLES:
        same = old.visit.examiner == new.visit.examiner
        return _error(matter, way, SAME if same else DIFFERENT, tables)
    youngest, oldest = old.visit.person.youngest, new.visit.person.oldest
    sex = new.visit.person.sex
    return tuple(_limit(row) for row in _rows(matter, sex, youngest, oldest, new.trials, tables))


def _error(matter: Matter, way: Way, situation: str, tables: Tables) -> tuple[Limit, ...]:
    method = instrument(way.method, tables)
    modes, methods = (way.mode, way.mode), (method, method)
    two = Two(matter.joint, matter.item, modes, methods, situation, _RATERS[situation])
    found = allowance(two, tables)
    if found is None:
        return ()
    return (_limit_of(found),)


@lru_cache(maxsize=256)
def _limit_of(found: Allowance) -> Limit:
    meaning = f"what measuring alone can make: {found.how}"
    return Limit(found.value, False, meaning, found.source, found.evidence)


@lru_cache(maxsize=4096)
def _rows(
    matter: Matter, sex: str, youngest: int, oldest: int, trials: int, tables: Tables
) -> tuple[Detectable, ...]:
    # of a patient who is neither, the rows of both must be passed
    sexes = ("any", sex) if sex in _SEXES else ("any", *_SEXES)
    return tuple(
        row
        for row in tables.changes.get((measure_of(matter, tables), _item(matter, tables)), ())
        if row.evidence != MEMORY
        and row.sex in sexes
        and row.trials == trials
        and row.age_from <= youngest
        and oldest <= row.age_to
    )


def _limit(row: Detectable) -> Limit:
    return Limit(row.value, row.direction == FROM, row.meaning, row.source, row.evidence)


def _item(matter: Matter, tables: Tables) -> str:
    """Return the word of changes.csv: the scale of a grade, else the motion or test."""
    key = (matter.joint, matter.item)
    scale = tables.motions[key].scale if matter.kind == MOTION else tables.strength[key].scale
    return scale or matter.item


def aim(matter: Matter, way: Way, person: Person, tables: Tables) -> Aim:
    """Return which way is better for a patient."""
    measure = measure_of(matter, tables)
    if measure in _ANGLES:
        return _angle_aim(matter, way, person, measure, tables)
    rows = tables.changes.get((measure, _item(matter, tables)), ())
    if not rows or rows[0].better == NEITHER:
        return Aim(0, None, None, rows[0].meaning if rows else "")
    better = rows[0].better
    return Aim(-1 if better == LESS else 1, None, None, f"{better} is better")


@lru_cache(maxsize=4096)
def _angle_aim(matter: Matter, way: Way, person: Person, measure: str, tables: Tables) -> Aim:
    """More motion is better up to the far end of the reference; an end goes towards straight.

    An end of extension is flexion-positive, so less is better down to straight. From there to how
    far beyond straight the reference goes, nobody can say which is better.
    """
    found = reference(matter.joint, matter.item, way.arm_position, way.mode, *person, tables=tables)
    sources = found.sources if found else ()
    if measure == "end":
        low = min(Decimal(0), (found.low if found else None) or Decimal(0))
        text = "towards straight is better"
        if low:
            text += f", and any end from there to {-low:f} degrees beyond straight is as good"
        return Aim(-1, Decimal(0), low, text, sources)
    high = found.high if found else None
    text = "more motion is better"
    if high is not None:
        text += f" up to {high:f} degrees, the upper end of the reference"
    return Aim(1, high, high, text, sources)
