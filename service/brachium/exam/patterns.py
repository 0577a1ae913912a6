"""Rules about patterns over many findings that look like slips, never about a patient's motives."""

from __future__ import annotations

from decimal import Decimal

from brachium.exam.rule import OWN, Case, Found, Founds, Rule, across
from brachium.problems import Severity

MOST_EQUAL_CELLS = 8
FEWEST_FOR_FILL = 4
LARGEST_RADIANS = 4
SPREAD = Decimal("0.2")
RISING_TRIALS = 3


def check_copied(case: Case) -> Founds:
    """More than eight cells with the same number left and right, each posted on its own."""
    equal = 0
    reaches = case.cells.reaches
    for place, modes in reaches.items():
        if place[0] != "left":
            continue
        other = reaches.get(("right", place[1], place[2], place[3], place[4]), {})
        for mode, reach in modes.items():
            twin = other.get(mode)
            if twin and twin.value == reach.value and twin.leaf.index != reach.leaf.index:
                equal += 1
    if equal <= MOST_EQUAL_CELLS:
        return []
    return [Found("/findings", f"{equal} motions have the same number on both sides.")]


def check_filled(case: Case) -> Founds:
    """The same number (often 0) in every cell."""
    angles = case.cells.angles
    if len(angles) < FEWEST_FOR_FILL:
        return []
    numbers = {quantity.value for quantity in angles.values()}
    if len(numbers) != 1:
        return []
    return [Found("/findings", f"All {len(angles)} angles are the same number.")]


def check_radians(case: Case) -> Founds:
    """All angles so small that they look like radians."""
    angles = case.cells.angles
    if len(angles) < FEWEST_FOR_FILL:
        return []
    numbers = [quantity.value for quantity in angles.values()]
    if max(numbers) >= LARGEST_RADIANS or min(numbers) < 0 or not any(numbers):
        return []
    return [Found("/findings", f"All {len(angles)} angles are below {LARGEST_RADIANS} deg.")]


def check_spread(case: Case) -> Founds:
    """Trials further apart than 20 % of their mean."""
    found = []
    for force in case.cells.forces:
        trials = force.trials
        mean = sum(trials, Decimal(0)) / len(trials)
        if mean > 0 and max(trials) - min(trials) > SPREAD * mean:
            share = round((max(trials) - min(trials)) / mean * 100)
            message = f"The trials vary by {share} % of their mean."
            found.append(Found(f"/findings/{force.leaf.index}/trials", message))
    return found


def check_rising(case: Case) -> Founds:
    """Trials that rise by more than 20 % from the first to the third."""
    found = []
    for force in case.cells.forces:
        trials = force.trials[:RISING_TRIALS]
        rising = len(trials) == RISING_TRIALS and trials[0] < trials[1] < trials[2]
        if rising and trials[2] > trials[0] * (1 + SPREAD):
            message = "Each trial is stronger than the one before, by more than 20 % in all."
            found.append(Found(f"/findings/{force.leaf.index}/trials", message))
    return found


def check_dominance(case: Case) -> Founds:
    """Forces without the dominant hand cannot be corrected for dominance."""
    if case.person.dominant != "unknown" or not case.cells.forces:
        return []
    return [Found("/patient/dominantHand", "The dominant hand is not known.")]


_WARNING = Severity.WARNING
_TRIALS = (
    "Look for pain, fatigue and whether the instruction was understood, and repeat if useful. "
    "How trials vary says nothing about motive."
)

RULES: tuple[Rule, ...] = (
    across(
        "sides-copied",
        "Same numbers on both sides",
        _WARNING,
        check_copied,
        OWN,
        "Equal to the degree in many cells is more often a copy than a measurement.",
        "Check that both sides were measured; they are kept as posted.",
    ),
    across(
        "same-number-everywhere",
        "Same number in every cell",
        _WARNING,
        check_filled,
        OWN,
        "A form filled by default looks like this.",
        'Check the numbers; what was not tested is "absent" with a reason.',
    ),
    across(
        "looks-like-radians",
        "Angles that look like radians",
        _WARNING,
        check_radians,
        OWN,
        "Read as degrees, nothing would move.",
        "Check the unit: 1 rad is 57.3 deg. Post deg.",
    ),
    across(
        "trials-spread",
        "Trials far apart",
        _WARNING,
        check_spread,
        OWN,
        "A mean or best of trials that differ by more than 20 % is uncertain.",
        _TRIALS,
    ),
    across(
        "trials-rising",
        "Trials that rise",
        _WARNING,
        check_rising,
        OWN,
        "Rising trials can mean that the task was not yet understood at the first.",
        _TRIALS,
    ),
    across(
        "dominance-unknown",
        "Forces without dominant hand",
        Severity.INFORMATION,
        check_dominance,
        OWN,
        "The dominant hand is often the stronger one.",
        "State the dominant hand if it is known; nothing is corrected without it.",
    ),
)
