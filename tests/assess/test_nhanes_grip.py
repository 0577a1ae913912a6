"""The grip of 14,984 people through our own functions (NHANES 2011-2014, US public domain).

Percentiles of mappings/reference come from the public file: hands with three trials that the
technician called maximal, weighted with the examination weight. The population figures of section
15 of the collection are those of people without pain and without an operation of the hand.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterable, Iterator
from decimal import Decimal
from itertools import accumulate
from statistics import median, quantiles
from typing import NamedTuple

import pytest
from tests.assess.motions import tables

from brachium.assess.from_strength import from_strength
from brachium.assess.options import AssessOptions
from brachium.assess.tested import Whose
from brachium.exam.findings import Quantity, Strength
from brachium.exam.leaves import Leaf
from brachium.tables.strength_rows import PERCENTS

SEX = {"M": "male", "F": "female"}
DOMINANT = {"right": "right", "left": "left", "both": "ambidextrous"}
SIDES = {"right": "R", "left": "L"}
TENTH = 0.05 + 1e-9
BEST = "force-best-of-three"
DIFFERENCE, DOMINANCE = "force-side-difference", "force-dominance-difference"


class Person(NamedTuple):
    whose: Whose
    weight: float
    sound: bool
    maximal: frozenset[str]
    trials: dict[str, tuple[Decimal, ...]]
    combined: Decimal | None
    worked: dict[tuple[str, str], Decimal | None]


def leaf(side: str, trials: tuple[Decimal, ...]) -> Leaf:
    # the shapes are proven elsewhere; 30,000 hands need not be checked again
    values = tuple(Quantity.model_construct(value=trial, unit="kg") for trial in trials)
    finding = Strength.model_construct(
        key=side, kind="strength", joint="hand", test="grip", side=side, trials=values
    )
    return Leaf(side, finding, side, 0)


def people(rows: Iterable[dict[str, str]]) -> Iterator[Person]:
    options = AssessOptions()
    for row in rows:
        age = int(row["age_years"])
        whose = Whose(SEX[row["sex"]], age, age, DOMINANT[row["dominant"]])
        trials, maximal = {}, set()
        for side, letter in SIDES.items():
            done = [number for number in (1, 2, 3) if row[f"{letter}{number}_kg"]]
            trials[side] = tuple(Decimal(row[f"{letter}{number}_kg"]) for number in done)
            if len(done) == 3 and all(row[f"{letter}{n}_effort"] == "maximal" for n in done):
                maximal.add(side)
        leaves = [leaf(side, some) for side, some in trials.items() if some]
        found = from_strength(leaves, whose, tables(), options, {}).computed
        yield Person(
            whose,
            float(row["wtmec2yr"]),
            "yes" not in (row["pain_right"], row["pain_left"], row["surgery"]),
            frozenset(maximal),
            trials,
            Decimal(row["combined_kg"]) if row["combined_kg"] else None,
            {(one.name, one.side): one.value for one in found},
        )


@pytest.fixture(scope="module")
def everybody(shared_dir) -> list[Person]:
    file = shared_dir / "data" / "nhanes_grip_extract.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        return list(people(csv.DictReader(lines)))


def weighted(some: list[tuple[float, float]], percents: Iterable[int]) -> list[float]:
    """Percentiles of (value, weight): each at the middle of the own weight, straight between."""
    some = sorted(some)
    ends = list(accumulate(weight for _, weight in some))
    middles = [end - weight / 2 for end, (_, weight) in zip(ends, some, strict=True)]
    found = []
    for percent in percents:
        wanted = ends[-1] * percent / 100
        above = next((n for n, middle in enumerate(middles) if middle >= wanted), len(some) - 1)
        low, high = middles[max(above - 1, 0)], middles[above]
        share = (wanted - low) / (high - low) if high > low else 0.0
        under, over = some[max(above - 1, 0)][0], some[above][0]
        found.append(under + (over - under) * share)
    return found


def test_everybody_is_there(everybody):
    assert len(everybody) == 14984


def test_combined_grip_is_best_right_and_best_left(everybody):
    """Section 18: 14,741 people, none of them differs; the first has 34.4 + 34.9 = 69.3."""
    first = everybody[0].worked
    assert (first[BEST, "right"], first[BEST, "left"]) == (Decimal("34.4"), Decimal("34.9"))
    checked = 0
    for person in everybody:
        bests = [best(person, side) for side in SIDES]
        if person.combined is not None and None not in bests:
            assert sum(bests) == person.combined
            checked += 1
    assert checked == 14741


def best(person: Person, side: str) -> Decimal | None:
    """The best of three trials, or of as many as there are."""
    of_three = person.worked.get((BEST, side))
    return person.worked.get(("force-best", side)) if of_three is None else of_three


def test_every_percentile_of_the_tables_is_recomputed(everybody):
    hands = defaultdict(list)
    for person in everybody:
        for side in person.maximal:
            value = float(person.worked[BEST, side])
            hands[person.whose.sex, side].append((person.whose.youngest, value, person.weight))
    rows = tables().percentiles["hand", "grip"]
    assert len(rows) == 80
    for row in rows:
        group = [
            (value, weight)
            for age, value, weight in hands[row.sex, row.side]
            if row.age_from <= age <= row.age_to
        ]
        assert len(group) == row.n
        for made, published in zip(weighted(group, PERCENTS), row.values, strict=True):
            assert abs(made - float(published)) <= TENTH
        total = sum(weight for _, weight in group)
        mean = sum(value * weight for value, weight in group) / total
        squares = sum(weight * (value - mean) ** 2 for value, weight in group) / total
        assert abs(mean - float(row.mean)) <= TENTH
        assert abs((squares * row.n / (row.n - 1)) ** 0.5 - float(row.sd)) <= TENTH


def test_the_service_puts_people_where_the_table_puts_them(everybody):
    """Of all hands behind the table a twentieth lies below percentile 5, half below 50."""
    below = dict.fromkeys((10, 25, 50, 75, 90), 0.0)
    total = 0.0
    for person in everybody:
        for side in person.maximal:
            percentile = person.worked["force-percentile", side]
            total += person.weight
            for percent in below:
                below[percent] += person.weight * (percentile <= percent)
    for percent, share in below.items():
        assert abs(share / total * 100 - percent) < 1


# dominant hand, sex: percent by which it is stronger, percent of people whose other hand is
POPULATION = {
    ("right", "male"): (5.8, 28),
    ("right", "female"): (7.8, 20),
    ("left", "male"): (2.7, 44),
    ("left", "female"): (2.0, 41),
}


@pytest.mark.parametrize(("dominant", "sex"), POPULATION)
def test_section_15_dominant_hand_of_the_population(everybody, dominant, sex):
    """Without pain, 20 to 79 years, best of three: weighted means, in percent of the other hand."""
    some = [
        (float(person.worked[DOMINANCE, "both"]), person.weight)
        for person in everybody
        if (person.whose.dominant, person.whose.sex) == (dominant, sex)
        and person.sound
        and 20 <= person.whose.youngest <= 79
        and person.maximal == set(SIDES)
    ]
    total = sum(weight for _, weight in some)
    mean = sum(value * weight for value, weight in some) / total
    weaker = sum(weight for value, weight in some if value < 0) / total * 100
    wanted, share = POPULATION[dominant, sex]
    assert abs(mean - wanted) <= TENTH
    # published as whole percents
    assert abs(weaker - share) <= 0.5


def test_section_15_asymmetry_of_adults(everybody):
    """Unweighted, of the stronger hand, from 20 years: median 7.5, 90th 17.7, 95th 21.4."""
    some = [
        abs(float(value))
        for person in everybody
        if person.sound
        and person.whose.youngest >= 20
        and (value := person.worked.get((DIFFERENCE, "both"))) is not None
        and all(len(trials) == 3 for trials in person.trials.values())
    ]
    cuts = quantiles(some, n=100, method="inclusive")
    assert abs(median(some) - 7.5) <= TENTH
    assert abs(cuts[89] - 17.7) <= TENTH
    assert abs(cuts[94] - 21.4) <= TENTH


@pytest.mark.parametrize("sex", ["male", "female"])
def test_variation_of_adults_without_pain(everybody, sex):
    """Coefficient of variation: median about 4.7 to 4.9 percent, 95th between 12 and 13."""
    some = [
        float(person.worked["force-variation", side])
        for person in everybody
        if person.sound and person.whose.sex == sex and person.whose.youngest >= 20
        for side in person.maximal
        if person.worked["force-variation", side] is not None
    ]
    assert 4.5 <= median(some) <= 4.95
    assert 12 <= quantiles(some, n=20)[18] <= 13
