"""Row types of what is computed from strength: references of force, scores, nerves and roots.

Field names are the column names, as in :mod:`brachium.tables.rows`. Where a row names a joint and a
test it means that strength test. ``evidence`` is seen, secondary, memory or own; a row from memory
computes nothing until it is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

# computations that belong to every measured or graded test rather than to rows of their own
MEAN = "force-mean-of-three"
BEST = "force-best-of-three"
BEST_OF = "force-best"
VARIATION = "force-variation"
Z_SCORE = "force-z-score"
PERCENTILE = "force-percentile"
SIDES = "force-side-difference"
DOMINANCE = "force-dominance-difference"
CORRECTED = "force-dominance-corrected"
LOW_FORCE = "low-force"
GRADES = "grade-side-difference"
STRENGTH_COMPUTATIONS = (
    MEAN,
    BEST,
    BEST_OF,
    VARIATION,
    Z_SCORE,
    PERCENTILE,
    SIDES,
    DOMINANCE,
    CORRECTED,
    LOW_FORCE,
    GRADES,
)

# words of NormSet.summary: of three trials, always
SUMMARIES = {"mean": MEAN, "best": BEST}
# words of Cutoff.direction; "from" holds at the value itself too
DIRECTIONS = ("below", "above", "from")
# words of Score.sides
EACH = "each"
BOTH = "both"
EACH_AND_BOTH = "each-and-both"
SCORE_SIDES = (EACH, BOTH, EACH_AND_BOTH)
# words of ScoreItem.how
LINEAR = "linear"
POINTS = "points"
HOWS = (LINEAR, POINTS)
# words of Supplier.kind
NERVE = "nerve"
ROOT = "root"

PERCENTS = (5, 10, 25, 50, 75, 90, 95)


@dataclass(frozen=True, slots=True)
class NormSet:
    """reference/norm_sets.csv: a published set of force references, and how it was measured.

    ``summary`` is mean or best (of three trials): only the same summary is held against the set.
    ``position`` is a word of options.csv; ``conditions`` is said beside every comparison;
    ``mostly`` is the dominant hand of most of its people.
    """

    norm_set: str
    label: str
    summary: str
    position: str
    mostly: str
    conditions: str
    source: str


@dataclass(frozen=True, slots=True)
class Norm:
    """reference/force_norms.csv: mean and standard deviation of a group, in ``unit``.

    Ages in completed years, inclusive. ``confidence`` is high, medium or low: how sure it is that
    the figure is the published one. Only high is used unless memory is allowed.
    """

    norm_set: str
    joint: str
    test: str
    sex: str
    age_from: int
    age_to: int
    side: str
    n: int | None
    mean: Decimal
    sd: Decimal
    unit: str
    source: str
    evidence: str
    confidence: str


@dataclass(frozen=True, slots=True)
class PercentileRow:
    """reference/force_percentiles.csv: percentiles of a group, in ``unit``. Ages as in Norm."""

    norm_set: str
    joint: str
    test: str
    sex: str
    age_from: int
    age_to: int
    side: str
    n: int
    mean: Decimal
    sd: Decimal
    p5: Decimal
    p10: Decimal
    p25: Decimal
    p50: Decimal
    p75: Decimal
    p90: Decimal
    p95: Decimal
    unit: str
    source: str
    evidence: str

    @property
    def values(self) -> tuple[Decimal, ...]:
        """The values at PERCENTS."""
        return self.p5, self.p10, self.p25, self.p50, self.p75, self.p90, self.p95


@dataclass(frozen=True, slots=True)
class Cutoff:
    """reference/cutoffs.csv: from where on a computed value stands out.

    Empty ``joint`` and ``test`` mean any; ``sex`` is male, female or any; ages in completed years,
    inclusive. ``direction`` is below or above (strictly), or from (at the value and above).
    Of several rows with the same direction all must be passed. ``unit`` is that of the comparison;
    ``meaning`` is what passing it means, ``caution`` a sentence.
    """

    computation: str
    joint: str
    test: str
    sex: str
    age_from: int
    age_to: int
    direction: str
    value: Decimal
    unit: str
    meaning: str
    caution: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Dominance:
    """reference/dominance.csv: by which factor the dominant side is expected to be stronger.

    For people with ``dominant`` hand only; nobody else is corrected.
    """

    joint: str
    test: str
    dominant: str
    factor: Decimal
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Unfit:
    """reference/unfit.csv: what makes a side unfit to be held against a cut-off, or a grade vague.

    ``kind`` is limiter, inspection or palpation; ``item`` the limiter or the sign; ``joints`` where
    it counts. ``grades`` tells that a grade with this limiter says nothing of nerve and root.
    """

    kind: str
    item: str
    joints: tuple[str, ...]
    grades: bool
    source: str


@dataclass(frozen=True, slots=True)
class Score:
    """reference/scores.csv: a score that is a sum over items.

    ``sides``: one sum for each side, one over both, or all three. ``joint`` is where the result
    belongs; ``highest`` the most that one side can reach; ``extra`` is added to a sum above 0;
    ``caution`` a sentence, ``undone`` the words for a sum that cannot be made.
    """

    computation: str
    joint: str
    sides: str
    highest: Decimal
    extra: Decimal
    undone: str
    caution: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class ScoreItem:
    """reference/score_items.csv, key (computation, order): what one item of a score is made of.

    ``kind`` is motion or strength; ``item`` the motion or test, ``less`` a motion of the same joint
    that is taken off (arc). ``modes`` in order of preference. ``how`` is linear (times ``factor``,
    at most ``cap``, ``whole`` points only) or points (score_points.csv). Where ``gate`` (a motion
    of the joint) does not reach ``gate_from``, the item is 0. The score is worked out when one item
    that ``asks`` was recorded.
    """

    computation: str
    order: int
    kind: str
    joint: str
    item: str
    less: str
    digit: str
    modes: tuple[str, ...]
    how: str
    factor: Decimal | None
    cap: Decimal | None
    whole: bool
    gate: str
    gate_from: Decimal | None
    asks: bool
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class ScorePoint:
    """reference/score_points.csv: points of an item from ``floor`` upwards.

    Above ``floor`` only, unless ``inclusive``; no floor means everything below. Values are in
    degrees (end of extension flexion-positive), or ordinals of a scale.
    """

    computation: str
    order: int
    rank: int
    floor: Decimal | None
    inclusive: bool
    points: Decimal
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Supplier:
    """reference/suppliers.csv: a peripheral nerve or a root. ``parent`` is the nerve it leaves."""

    supplier: str
    label: str
    kind: str
    parent: str
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Innervation:
    """reference/innervation.csv: which nerve or root makes a graded test strong.

    ``digits`` restricts the row, none means all. ``main`` is false for a muscle that only helps: it
    may explain weakness, but strength does not speak against it. ``scheme`` names the list of
    roots or nerves that the row belongs to; lists are never mixed.
    """

    joint: str
    test: str
    scheme: str
    supplier: str
    digits: tuple[str, ...]
    main: bool
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class InnervationNote:
    """reference/innervation_notes.csv: where sources differ about a test, or what to mind."""

    joint: str
    test: str
    note: str
    source: str
    evidence: str
