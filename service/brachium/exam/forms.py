"""Rules about the form of a result: is there one, of the right kind, in the right unit?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.exam.findings import Finding, Motion, Part, Quantity, Sign, Strength
from brachium.exam.rule import NOTHING, OWN, SIGN_KINDS, Case, Found, Founds, Rule
from brachium.exam.units import suggestion
from brachium.exam.vocabulary import measure_of
from brachium.exam.words import listed
from brachium.problems import Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

_MEMBER = {
    "angle": "angle",
    "end": "end",
    "grade": "grade",
    "distance": "distance",
    "force": "trials",
}


def results(finding: Finding) -> tuple[str, ...]:
    """Return the names of the result members that a finding states."""
    if isinstance(finding, Sign):
        return tuple(n for n in ("present", "severity") if getattr(finding, n) is not None)
    if isinstance(finding, Motion):
        names = ("angle", "end", "magnitude", "grade", "distance")
        return tuple(n for n in names if getattr(finding, n) is not None)
    if isinstance(finding, Strength):
        grade = ("grade",) if finding.grade is not None else ()
        return grade + (("trials",) if finding.trials else ())
    return ("outcome",) if finding.outcome is not None else ()


def wanted(case: Case, finding: Finding) -> str | None:
    """Return the member that holds the result, or ``None`` when the words are unknown."""
    if isinstance(finding, Sign):
        return "present"
    if isinstance(finding, Part):
        return "outcome"
    measure = measure_of(case.tables, finding)
    return None if measure is None else _MEMBER[measure]


def check_missing(case: Case, finding: Finding) -> Founds:
    """A finding says what came out, or why nothing did."""
    if finding.absent is not None:
        return NOTHING
    stated, member = results(finding), wanted(case, finding)
    if member is None or member in stated:
        return NOTHING
    if stated and member != "present" and set(stated) - {"magnitude"}:
        return NOTHING
    remedy = f'State "{member}", or "absent" with the reason.'
    return (Found(f"/{member}", f'The result ("{member}") is missing.', remedy),)


def check_both(case: Case, finding: Finding) -> Founds:  # noqa: ARG001
    """A result and a reason for having none exclude each other (EXM-15)."""
    stated = results(finding)
    if finding.absent is None or not stated:
        return NOTHING
    return (Found("/absent", f'"absent" stands beside a result ({listed(stated)}).'),)


def check_form(case: Case, finding: Motion | Strength) -> Founds:
    """Exactly the form that the table gives for this motion or test."""
    member = wanted(case, finding)
    if member is None or finding.absent is not None:
        return NOTHING
    allowed = {member, "magnitude"} if member == "end" else {member}
    wrong = [name for name in results(finding) if name not in allowed]
    if wrong == ["magnitude"]:
        wrong = []  # magnitude-unfit speaks of it
    if not wrong:
        return NOTHING
    remedy = f'Use "{member}".'
    if member == "end":
        remedy = (
            'Use "end" (short-of-straight, straight or beyond-straight) and, unless straight, '
            '"magnitude" with how far. A signed number is read differently by different people.'
        )
    return tuple(Found(f"/{name}", f'"{name}" is not the form here.', remedy) for name in wrong)


def check_magnitude_missing(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """Short of or beyond straight needs how far."""
    if finding.end in (None, "straight") or finding.magnitude is not None:
        return NOTHING
    return (Found("/magnitude", f"How far {str(finding.end).replace('-', ' ')} is missing."),)


def check_magnitude(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """Straight has no magnitude, and a magnitude alone has no direction."""
    if finding.magnitude is None or finding.end in ("short-of-straight", "beyond-straight"):
        return NOTHING
    if finding.end == "straight":
        return (Found("/magnitude", "Straight has no magnitude."),)
    return (Found("/magnitude", 'A magnitude needs "end" to say in which direction.'),)


def check_rated(case: Case, finding: Sign) -> Founds:
    """Only signs that the table rates take a severity."""
    row = case.tables.signs.get((finding.kind, finding.sign))
    if finding.severity is None or row is None or row.rated:
        return NOTHING
    return (Found("/severity", "This sign is not rated."),)


def check_limited_absent(case: Case, finding: Motion | Strength) -> Founds:  # noqa: ARG001
    """Without a result nothing was limited: the reason belongs to "absent"."""
    if finding.absent is None or not finding.limited_by:
        return NOTHING
    return (Found("/limitedBy", '"limitedBy" stands beside "absent".'),)


def check_limited_twice(case: Case, finding: Motion | Strength) -> Founds:  # noqa: ARG001
    """Each limiter once."""
    words = finding.limited_by
    if len(words) < 2 or len(set(words)) == len(words):
        return NOTHING
    return tuple(
        Found(f"/limitedBy/{index}", "This limiter is named twice.")
        for index, word in enumerate(words)
        if word in words[:index]
    )


def quantities(finding: Motion | Strength) -> Iterator[tuple[str, Quantity]]:
    """Yield every stated quantity with its pointer inside the finding."""
    if isinstance(finding, Motion):
        if finding.angle is not None:
            yield "/angle", finding.angle
        if finding.magnitude is not None:
            yield "/magnitude", finding.magnitude
        if finding.distance is not None:
            yield "/distance", finding.distance
    else:
        for index, trial in enumerate(finding.trials):
            yield f"/trials/{index}", trial


def check_unit(case: Case, finding: Motion | Strength) -> Founds:
    """The unit is one of the row's, written as UCUM writes it (EXM-12)."""
    row = (
        case.tables.motions.get((finding.joint, finding.motion))
        if isinstance(finding, Motion)
        else case.tables.strength.get((finding.joint, finding.test))
    )
    if row is None or not row.units:
        return NOTHING
    units = row.units
    return [
        Found(
            f"{pointer}/unit",
            f"The unit here is {listed(units)}.",
            suggestion(quantity, units, case.tables),
        )
        for pointer, quantity in quantities(finding)
        if quantity.unit not in units
    ]


def check_one_unit(case: Case, finding: Strength) -> Founds:  # noqa: ARG001
    """The trials of one series come from one instrument."""
    trials = finding.trials
    if len({trial.unit for trial in trials}) < 2:
        return NOTHING
    return tuple(
        Found(f"/trials/{index}/unit", "The trials of one series have different units.")
        for index, trial in enumerate(trials)
        if trial.unit != trials[0].unit
    )


_MOTION = ("motion",)
_MEASURED = ("motion", "strength")

RULES: tuple[Rule, ...] = (
    Rule(
        "result-missing",
        "No result and no reason",
        Severity.ERROR,
        "required",
        "FHIR R4 Observation 10.1.4.9; own convention",
        "Silence cannot be told from not examined.",
        "State the result, or why there is none.",
        "finding",
        check_missing,
    ),
    Rule(
        "result-and-absent",
        "Result beside a reason for having none",
        Severity.ERROR,
        "invariant",
        "FHIR R4 Observation obs-6",
        "One of the two is wrong, and nobody can tell which.",
        'Keep the result or keep "absent", not both.',
        "finding",
        check_both,
    ),
    Rule(
        "result-form",
        "Result in a form that does not fit",
        Severity.ERROR,
        "business-rule",
        OWN,
        "Each motion and test has one form of result; extension of a joint that ends straight is "
        "never a bare number, because its sign is read both ways.",
        "Use the form of the catalogue.",
        "finding",
        check_form,
        _MEASURED,
    ),
    Rule(
        "magnitude-missing",
        "Direction without how far",
        Severity.ERROR,
        "required",
        OWN,
        "Short of straight without a number cannot be compared later.",
        'State "magnitude" in degrees.',
        "finding",
        check_magnitude_missing,
        _MOTION,
    ),
    Rule(
        "magnitude-unfit",
        "How far without a direction",
        Severity.ERROR,
        "invariant",
        OWN,
        "A number beside straight, or without a direction, contradicts itself.",
        'Leave "magnitude" out, or say short-of-straight or beyond-straight in "end".',
        "finding",
        check_magnitude,
        _MOTION,
    ),
    Rule(
        "severity-unrated",
        "Severity of a sign that is not rated",
        Severity.ERROR,
        "business-rule",
        "tables of the motion and strength model",
        "A rating where no scale is agreed has no meaning.",
        'Leave "severity" out; a note can say more.',
        "finding",
        check_rated,
        SIGN_KINDS,
    ),
    Rule(
        "limited-by-beside-absent",
        "Limiter of a result that does not exist",
        Severity.ERROR,
        "invariant",
        OWN,
        "What stopped a test from being done is its reason, not a limit of its result.",
        'Put the word in "absent", member "because".',
        "finding",
        check_limited_absent,
        _MEASURED,
    ),
    Rule(
        "limiter-twice",
        "Limiter named twice",
        Severity.ERROR,
        "value",
        OWN,
        "A repeated word says nothing more and hides a slip.",
        "Name it once.",
        "finding",
        check_limited_twice,
        _MEASURED,
    ),
    Rule(
        "unit-unfit",
        "Unit not in use here",
        Severity.ERROR,
        "code-invalid",
        "UCUM; US Core us-core-3",
        "A unit guessed wrongly changes the value.",
        "Use a unit of the catalogue.",
        "finding",
        check_unit,
        _MEASURED,
    ),
    Rule(
        "trials-of-mixed-units",
        "Trials in different units",
        Severity.ERROR,
        "business-rule",
        OWN,
        "One series comes from one instrument; a changed unit is a slip.",
        "Give every trial in the same unit.",
        "finding",
        check_one_unit,
        ("strength",),
    ),
)
