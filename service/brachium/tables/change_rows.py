"""Row type of what counts as a change between two exams, where it is not an angle."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

# words of Detectable.better: which way along the scale or the unit the reference lies
MORE = "more"
LESS = "less"
NEITHER = "neither"
BETTER = (MORE, LESS, NEITHER)
# words of Detectable.direction: does a change of exactly the value count?
ABOVE = "above"
FROM = "from"
BEYOND = (ABOVE, FROM)
# words of Detectable.measure
GRADE = "grade"
DISTANCE = "distance"
FORCE = "force"
MEASURES = (GRADE, DISTANCE, FORCE)


@dataclass(frozen=True, slots=True)
class Detectable:
    """reference/changes.csv: how much a measure must change before it counts.

    ``item`` is a scale for measure grade, a motion for distance, a strength test for force.
    ``trials`` is how many trials the mean is of, 0 for what has no trials. ``value`` is in
    ``unit`` (the base unit of its dimension; empty for steps of a scale) and must be passed:
    ``above`` it, or ``from`` it on. Of several rows that fit one patient every one must be passed.
    ``better`` is the way in which the reference lies. Ages in completed years, inclusive.
    """

    measure: str
    item: str
    sex: str
    age_from: int
    age_to: int
    trials: int
    better: str
    direction: str
    value: Decimal
    unit: str
    meaning: str
    source: str
    evidence: str
