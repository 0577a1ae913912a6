"""One frozen row type per table of mappings/, and :class:`Tables`, which holds them all.

Field names are the column names. A column that holds several words separates them by spaces and
is a tuple here; an empty cell is ``""``, ``None`` (numbers) or ``()``. Every row names its source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from brachium.tables.code_rows import Code as Code
from brachium.tables.code_rows import LoincAxes as LoincAxes
from brachium.tables.code_rows import Map as Map
from brachium.tables.code_rows import Structure as Structure
from brachium.tables.code_rows import System as System

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brachium.tables import strength_rows
    from brachium.tables.change_rows import Detectable
    from brachium.tables.computation_rows import Axis, Band, Chain, Computation, Reach, Window
    from brachium.tables.protocol_rows import PromptRow, Protocol, Trigger
    from brachium.tables.ratio_rows import Ratio, RatioLevel


@dataclass(frozen=True, slots=True)
class Joint:
    """model/joints.csv. ``plural`` names both sides together ("Both shoulders" -> "shoulders").

    ``digits`` lists the digits that have this joint (compulsory in a finding when not empty);
    ``structure`` is the body structure of a finding that names no site.
    """

    joint: str
    label: str
    plural: str
    region: str
    digits: tuple[str, ...]
    structure: str
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Digit:
    """model/digits.csv. ``structure`` is the body structure of the whole digit."""

    digit: str
    label: str
    structure: str
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class MotionRow:
    """model/motions.csv, key (joint, motion).

    ``measure`` is one of angle, end, grade, distance; ``scale`` belongs to grade, ``units`` to the
    others; ``arm_positions`` are the accepted arm positions (compulsory when not empty);
    ``modes`` the accepted modes; ``opposite`` the motion of the same joint on the same axis;
    ``digits`` those digits the motion is recorded for when the joint itself has none (fist);
    ``phrase`` is the motion in running text ("abduction").
    """

    joint: str
    motion: str
    label: str
    phrase: str
    measure: str
    scale: str
    units: tuple[str, ...]
    modes: tuple[str, ...]
    arm_positions: tuple[str, ...]
    opposite: str
    digits: tuple[str, ...]
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Limit:
    """model/limits.csv: what is queried and what is refused, in ``unit``.

    ``item`` is a motion of ``joint`` or a strength test of it. ``direction`` is ``short`` or
    ``beyond`` for end-of-extension magnitudes, else empty. Empty ``arm_position``, ``digit`` or
    ``sex`` means any; ages in completed years, ``age_from`` <= age < ``age_below``. A value above
    ``warn_above`` is accepted with a warning, above ``refuse_above`` refused. Of the rows that fit,
    the one with the most filled selectors holds.
    """

    joint: str
    item: str
    direction: str
    arm_position: str
    digit: str
    sex: str
    age_from: int
    age_below: int
    warn_above: Decimal | None
    refuse_above: Decimal
    unit: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Site:
    """model/sites.csv, key (joint, part, site): where signs are looked for or felt.

    ``signs`` lists the signs recorded at the site; ``digits`` as in Joint. An empty ``structure``
    means the digit itself, whose structure is in model/digits.csv.
    """

    joint: str
    part: str
    site: str
    label: str
    structure: str
    digits: tuple[str, ...]
    signs: tuple[str, ...]
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class SignRow:
    """model/signs.csv, key (part, sign).

    ``rated`` signs take a 0-10 severity; ``paired`` signs compare both sides and are recorded once,
    with side "both"; full strength beside a sign that ``weakens`` is queried;
    ``present``/``absent`` are the words for each outcome, ``phrase`` the sign in running text
    ("tenderness over {site}").
    """

    part: str
    sign: str
    label: str
    phrase: str
    present: str
    absent: str
    rated: bool
    paired: bool
    weakens: bool
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class StrengthRow:
    """model/strength.csv, key (joint, test). ``measure`` is grade or force."""

    joint: str
    test: str
    label: str
    phrase: str
    measure: str
    scale: str
    units: tuple[str, ...]
    digits: tuple[str, ...]
    moves: tuple[str, ...]
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Grade:
    """model/scales.csv, key (scale, grade). ``step`` is plain, plus or minus."""

    scale: str
    grade: str
    label: str
    ordinal: Decimal
    step: str
    normal: bool
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Option:
    """model/options.csv, key (kind, option): position, arm-position, limiter."""

    kind: str
    option: str
    label: str
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Method:
    """model/methods.csv. ``kinds`` are the finding kinds it fits; ``default`` marks the method that
    goes out when none was stated; ``device`` is a device concept or empty."""

    method: str
    label: str
    kinds: tuple[str, ...]
    measures: tuple[str, ...]
    device: str
    device_label: str
    default: bool
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class Unit:
    """model/units.csv. One ``unit`` is ``factor`` of its dimension's ``base`` unit.

    ``entered`` is false for a unit that is converted (when the setting allows) and never stored.
    """

    unit: str
    ucum: str
    label: str
    dimension: str
    base: str
    factor: Decimal
    entered: bool
    source: str


@dataclass(frozen=True, slots=True)
class Qualifier:
    """model/qualifiers.csv: a fixed concept of our own code system that belongs to no joint."""

    qualifier: str
    label: str
    source: str


@dataclass(frozen=True, slots=True)
class Source:
    """sources.csv: the full citation behind a source key."""

    key: str
    citation: str


@dataclass(frozen=True, slots=True)
class Range:
    """reference/ranges.csv: a published range or mean of a motion.

    ``statistic`` is handbook, mean or median; ``mode`` active, passive or any; ``sex`` male, female
    or any; ages in completed years, inclusive; ``value``/``sd``/``n`` in degrees (end of extension:
    flexion-positive, so hyperextension is negative); ``evidence`` seen, secondary or memory.
    """

    joint: str
    motion: str
    arm_position: str
    statistic: str
    mode: str
    sex: str
    age_from: int
    age_to: int
    n: int | None
    value: Decimal
    sd: Decimal | None
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class MeasurementError:
    """reference/errors.csv: the change or difference that measurement alone can make, in degrees.

    An empty ``motion``, ``mode`` or ``methods`` means any; joint "any" serves a joint without rows
    of its own. ``situation`` is same-rater, different-raters, different-methods (between the two
    ``methods``), against-image or any. ``printed`` is the figure as published; ``value`` the limit
    for two measurements that is made of it, ``None`` when ``note`` says why there is none.
    """

    joint: str
    motion: str
    mode: str
    methods: tuple[str, ...]
    situation: str
    statistic: str
    printed: str
    value: Decimal | None
    note: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Concept:
    """One concept of our own code system, made from the model rows by the loader."""

    code: str
    display: str
    kind: str
    definition: str = ""


# equal only to itself: what was worked out for one set of tables can then be kept by it
@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """Everything in mappings/, by key, in the order of the files.

    ``digest`` is the SHA-256 over all table files, overlay included; ``limits`` and ``ranges`` are
    by (joint, motion or test), ``bands`` by (computation, chain),
    ``changes`` by (measure, item), ``maps`` by concept,
    ``norms``, ``percentiles``, ``innervation`` and ``innervation_notes`` by (joint, test),
    ``cutoffs`` and ``score_items`` by computation, ``score_points`` by (computation, order of the
    item), ``dominance`` by (joint, test, dominant hand), ``protocols`` by protocol, ``triggers`` by
    prompt; ``concepts`` are our own, by code.
    """

    edition: str
    digest: str
    sources: Mapping[str, Source]
    joints: Mapping[str, Joint]
    digits: Mapping[str, Digit]
    motions: Mapping[tuple[str, str], MotionRow]
    limits: Mapping[tuple[str, str], tuple[Limit, ...]]
    sites: Mapping[tuple[str, str, str], Site]
    signs: Mapping[tuple[str, str], SignRow]
    strength: Mapping[tuple[str, str], StrengthRow]
    scales: Mapping[str, Mapping[str, Grade]]
    options: Mapping[tuple[str, str], Option]
    methods: Mapping[str, Method]
    units: Mapping[str, Unit]
    qualifiers: Mapping[str, Qualifier]
    systems: Mapping[str, System]
    codes: Mapping[tuple[str, str], Code]
    loinc_axes: Mapping[str, LoincAxes]
    maps: Mapping[str, tuple[Map, ...]]
    structures: Mapping[str, Structure]
    ranges: Mapping[tuple[str, str], tuple[Range, ...]]
    errors: tuple[MeasurementError, ...]
    changes: Mapping[tuple[str, str], tuple[Detectable, ...]]
    computations: Mapping[str, Computation]
    axes: tuple[Axis, ...]
    windows: tuple[Window, ...]
    chains: tuple[Chain, ...]
    bands: Mapping[tuple[str, str], tuple[Band, ...]]
    reaches: tuple[Reach, ...]
    ratios: tuple[Ratio, ...]
    ratio_levels: Mapping[str, tuple[RatioLevel, ...]]
    norm_sets: Mapping[str, strength_rows.NormSet]
    norms: Mapping[tuple[str, str], tuple[strength_rows.Norm, ...]]
    percentiles: Mapping[tuple[str, str], tuple[strength_rows.PercentileRow, ...]]
    cutoffs: Mapping[str, tuple[strength_rows.Cutoff, ...]]
    dominance: Mapping[tuple[str, str, str], strength_rows.Dominance]
    unfit: tuple[strength_rows.Unfit, ...]
    scores: Mapping[str, strength_rows.Score]
    score_items: Mapping[str, tuple[strength_rows.ScoreItem, ...]]
    score_points: Mapping[tuple[str, int], tuple[strength_rows.ScorePoint, ...]]
    suppliers: Mapping[str, strength_rows.Supplier]
    innervation: Mapping[tuple[str, str], tuple[strength_rows.Innervation, ...]]
    innervation_notes: Mapping[tuple[str, str], strength_rows.InnervationNote]
    protocols: Mapping[str, tuple[Protocol, ...]]
    prompts: Mapping[str, PromptRow]
    triggers: Mapping[str, tuple[Trigger, ...]]
    concepts: Mapping[str, Concept]
