"""Rules about the words of one finding: does the table of that joint know them?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.exam.findings import Finding, Motion, Part, Sign, Strength
from brachium.exam.rule import NOTHING, OWN, SIGN_KINDS, Case, Check, Found, Founds, Rule
from brachium.exam.words import choose, listed
from brachium.problems import Severity

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.tables.load import Tables


def _unknown(pointer: str, message: str, posted: str, accepted: Iterable[str]) -> Founds:
    return (Found(pointer, message, choose(posted, accepted)),)


def check_joint(case: Case, finding: Finding) -> Founds:
    """The joint has a row in model/joints.csv."""
    if finding.joint in case.tables.joints:
        return NOTHING
    return _unknown("/joint", "This joint is not in the tables.", finding.joint, case.tables.joints)


def check_motion(case: Case, finding: Motion) -> Founds:
    """The joint has this motion."""
    tables = case.tables
    if (finding.joint, finding.motion) in tables.motions or finding.joint not in tables.joints:
        return NOTHING
    accepted = [motion for joint, motion in tables.motions if joint == finding.joint]
    return _unknown("/motion", "This joint has no such motion.", finding.motion, accepted)


def check_mode(case: Case, finding: Motion) -> Founds:
    """The motion is recorded in this mode."""
    row = case.tables.motions.get((finding.joint, finding.motion))
    if row is None or finding.mode in row.modes:
        return NOTHING
    message = f"This motion is recorded {listed(row.modes)} only."
    return _unknown("/mode", message, finding.mode, row.modes)


def check_site(case: Case, finding: Sign) -> Founds:
    """The joint has this site in this part: a sign without a known site says nothing."""
    tables, joint, part = case.tables, finding.joint, finding.kind
    if (joint, part, finding.site) in tables.sites or joint not in tables.joints:
        return NOTHING
    accepted = [site for j, p, site in tables.sites if (j, p) == (joint, part)]
    return _unknown("/site", f"This joint has no such {part} site.", finding.site, accepted)


def check_sign(case: Case, finding: Sign) -> Founds:
    """The sign is recorded at this site."""
    row = case.tables.sites.get((finding.joint, finding.kind, finding.site))
    if row is None or finding.sign in row.signs:
        return NOTHING
    return _unknown("/sign", "This sign is not recorded at this site.", finding.sign, row.signs)


def check_test(case: Case, finding: Strength) -> Founds:
    """The joint has this strength test."""
    tables = case.tables
    if (finding.joint, finding.test) in tables.strength or finding.joint not in tables.joints:
        return NOTHING
    accepted = [test for joint, test in tables.strength if joint == finding.joint]
    return _unknown("/test", "This joint has no such strength test.", finding.test, accepted)


def digits_of(tables: Tables, finding: Finding) -> tuple[str, ...] | None:
    """Return the digits a finding may name (compulsory when not empty); ``None``: unknown words."""
    joint = tables.joints.get(finding.joint)
    own: tuple[str, ...] = ()
    if joint is None:
        return None
    if isinstance(finding, Motion):
        motion = tables.motions.get((finding.joint, finding.motion))
        if motion is None:
            return None
        own = motion.digits
    elif isinstance(finding, Sign):
        site = tables.sites.get((finding.joint, finding.kind, finding.site))
        if site is None:
            return None
        own = site.digits
    elif isinstance(finding, Strength):
        test = tables.strength.get((finding.joint, finding.test))
        if test is None:
            return None
        own = test.digits
    return own or joint.digits


def check_digit_missing(case: Case, finding: Finding) -> Founds:
    """Joints that several digits have need the digit."""
    digits = digits_of(case.tables, finding)
    if not digits or finding.digit is not None:
        return NOTHING
    return _unknown("/digit", "The digit is missing.", "", digits)


def check_digit(case: Case, finding: Finding) -> Founds:
    """The digit has this joint; joints without digits take none."""
    digits = digits_of(case.tables, finding)
    if finding.digit is None or digits is None or finding.digit in digits:
        return NOTHING
    if not digits:
        return (Found("/digit", "This finding is not recorded per digit."),)
    return _unknown("/digit", "This digit does not have this joint.", finding.digit, digits)


def check_paired(case: Case, finding: Sign) -> Founds:
    """A sign that compares the sides is one observation about both."""
    row = case.tables.signs.get((finding.kind, finding.sign))
    if row is None or not row.paired or finding.side == "both":
        return NOTHING
    return (Found("/side", "This sign compares both sides, so it is recorded once for both."),)


def check_trials_side(case: Case, finding: Strength) -> Founds:  # noqa: ARG001
    """One series of trials comes from one hand."""
    if finding.side != "both" or not finding.trials:
        return NOTHING
    return (Found("/side", "One series of trials cannot come from both sides."),)


def check_arm_position_missing(case: Case, finding: Motion) -> Founds:
    """Rotation means something else at the side than in abduction."""
    row = case.tables.motions.get((finding.joint, finding.motion))
    if row is None or not row.arm_positions or finding.arm_position is not None:
        return NOTHING
    message = "The arm position is missing: it changes what the number means."
    return _unknown("/armPosition", message, "", row.arm_positions)


def check_arm_position(case: Case, finding: Motion) -> Founds:
    """The arm position is one of the motion's."""
    row = case.tables.motions.get((finding.joint, finding.motion))
    if row is None or finding.arm_position is None or finding.arm_position in row.arm_positions:
        return NOTHING
    message = "This arm position does not belong to this motion."
    return _unknown("/armPosition", message, finding.arm_position, row.arm_positions)


def check_method(case: Case, finding: Motion | Strength) -> Founds:
    """The method measures what was recorded."""
    if finding.method is None:
        return NOTHING
    measure = measure_of(case.tables, finding)
    if measure is None:
        return NOTHING
    fitting = [
        method.method
        for method in case.tables.methods.values()
        if finding.kind in method.kinds and (not method.measures or measure in method.measures)
    ]
    if finding.method in fitting:
        return NOTHING
    return _unknown("/method", "This method does not fit the finding.", finding.method, fitting)


def measure_of(tables: Tables, finding: Motion | Strength) -> str | None:
    """Return the measure of a motion or test, or ``None`` when the words are unknown."""
    if isinstance(finding, Motion):
        motion = tables.motions.get((finding.joint, finding.motion))
        return None if motion is None else motion.measure
    test = tables.strength.get((finding.joint, finding.test))
    return None if test is None else test.measure


def check_position(case: Case, finding: Motion | Strength) -> Founds:
    """The position of the patient is in model/options.csv."""
    return _option(case, "position", "/position", finding.position)


def check_limiters(case: Case, finding: Motion | Strength) -> Founds:
    """What limited the result is in model/options.csv."""
    found: list[Found] = []
    for index, word in enumerate(finding.limited_by):
        found.extend(_option(case, "limiter", f"/limitedBy/{index}", word))
    return found


def check_because(case: Case, finding: Finding) -> Founds:
    """Why there is no result is in model/options.csv."""
    because = finding.absent.because if finding.absent else None
    return _option(case, "limiter", "/absent/because", because)


def _option(case: Case, kind: str, pointer: str, word: str | None) -> Founds:
    if word is None or (kind, word) in case.tables.options:
        return NOTHING
    accepted = [option for k, option in case.tables.options if k == kind]
    return _unknown(pointer, "This word is not in the tables.", word, accepted)


def check_grade(case: Case, finding: Motion | Strength) -> Founds:
    """The grade is on the scale (MRC 0 to 5, vertebral level, opposition station)."""
    grades = grades_of(case, finding)
    if finding.grade is None or grades is None or finding.grade in grades:
        return NOTHING
    return _unknown("/grade", "This grade is not on the scale.", finding.grade, grades)


def grades_of(case: Case, finding: Motion | Strength) -> list[str] | None:
    """Return the grades the finding may have; ``None`` when it has no scale."""
    row = (
        case.tables.motions.get((finding.joint, finding.motion))
        if isinstance(finding, Motion)
        else case.tables.strength.get((finding.joint, finding.test))
    )
    if row is None or row.measure != "grade":
        return None
    scale = case.tables.scales.get(row.scale, {})
    signed = case.options.plus_minus_grades
    return [grade.grade for grade in scale.values() if signed or grade.step == "plain"]


def check_part(case: Case, finding: Part) -> Founds:
    """A sum-up belongs to a part in which the joint has something to record."""
    tables, part = case.tables, finding.part
    known: dict[str, set[str]] = {
        "motion": {joint for joint, _ in tables.motions},
        "strength": {joint for joint, _ in tables.strength},
    }
    if part not in known:
        known[part] = {joint for joint, p, _ in tables.sites if p == part}
    if finding.joint in known[part] or finding.joint not in tables.joints:
        return NOTHING
    return (Found("/part", f"Nothing is recorded under {part} at this joint."),)


def _rule(code: str, title: str, check: Check, kinds: tuple[str, ...], reason: str) -> Rule:
    return Rule(
        code,
        title,
        Severity.ERROR,
        "code-invalid",
        "tables of the motion and strength model",
        reason,
        "Use a word of the catalogue.",
        "finding",
        check,
        kinds,
    )


_ALL = (*SIGN_KINDS, "motion", "strength", "part")
_MEASURED = ("motion", "strength")
_NO_GUESS = "A word that is not in the tables has no meaning that could be coded."
_REGION = "Joint, digit and motion that do not belong together point to a mix-up of fields."

RULES: tuple[Rule, ...] = (
    _rule("joint-unknown", "Joint not in the tables", check_joint, _ALL, _NO_GUESS),
    _rule("motion-unknown", "Motion not of this joint", check_motion, ("motion",), _REGION),
    _rule("mode-unfit", "Mode not of this motion", check_mode, ("motion",), _NO_GUESS),
    _rule("site-unknown", "Site not of this joint", check_site, SIGN_KINDS, _REGION),
    _rule("sign-unknown", "Sign not of this site", check_sign, SIGN_KINDS, _NO_GUESS),
    _rule("test-unknown", "Test not of this joint", check_test, ("strength",), _REGION),
    _rule("part-unfit", "Part not of this joint", check_part, ("part",), _NO_GUESS),
    _rule("digit-unfit", "Digit not of this joint", check_digit, _ALL, _REGION),
    _rule("arm-position-unfit", "Arm position unfit", check_arm_position, ("motion",), _NO_GUESS),
    _rule("method-unfit", "Method unfit", check_method, _MEASURED, _NO_GUESS),
    _rule("position-unknown", "Position not in the tables", check_position, _MEASURED, _NO_GUESS),
    _rule("limiter-unknown", "Limiter not in the tables", check_limiters, _MEASURED, _NO_GUESS),
    _rule("because-unknown", "Reason not in the tables", check_because, _ALL, _NO_GUESS),
    _rule("grade-unknown", "Grade not on the scale", check_grade, _MEASURED, _NO_GUESS),
    Rule(
        "digit-missing",
        "Digit missing",
        Severity.ERROR,
        "required",
        "tables of the motion and strength model",
        "Several digits have this joint; without the digit nobody knows which one was examined.",
        "Name the digit.",
        "finding",
        check_digit_missing,
    ),
    Rule(
        "arm-position-missing",
        "Rotation without arm position",
        Severity.ERROR,
        "required",
        OWN,
        "Normal rotation differs by 30 degrees or more between the arm at the side and abducted.",
        "State where the arm was.",
        "finding",
        check_arm_position_missing,
        ("motion",),
    ),
    Rule(
        "side-paired",
        "Comparison of sides recorded for one side",
        Severity.ERROR,
        "business-rule",
        OWN,
        "A comparison has no left or right; stored for one side it would read as a local finding.",
        'Post it once with side "both".',
        "finding",
        check_paired,
        SIGN_KINDS,
    ),
    Rule(
        "side-of-trials",
        "Trials of both sides in one finding",
        Severity.ERROR,
        "business-rule",
        OWN,
        "Each hand gives its own trials; copying them to the other hand would invent values.",
        "Post one finding for the left and one for the right.",
        "finding",
        check_trials_side,
        ("strength",),
    ),
)
