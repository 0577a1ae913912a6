"""Exams over the whole catalogue, valid ones and ones broken at a known place."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from brachium.tables.load import Tables
from brachium.tables.rows import Limit

Posted = dict[str, Any]
ADULT_BIRTHS = ("1951", "1969-04", "1969-04-11", "1988-02-29")
REASONS = ("not-tested", "declined", "not-applicable", "not-examined")
TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=40
).map(lambda text: f"{text}\n\té漢.")
KEYS = st.from_regex(r"\A[A-Za-z0-9][A-Za-z0-9._-]{0,20}\Z", fullmatch=True)
IDENTIFIERS = st.builds(
    lambda tail, value: {"system": f"https://saltmarsh.example.org/{tail}", "value": value},
    st.from_regex(r"\A[a-z0-9/-]{0,20}\Z", fullmatch=True),
    st.from_regex(r"\A[A-Za-z0-9](?:[A-Za-z0-9 ._:/-]{0,20}[A-Za-z0-9])?\Z", fullmatch=True),
)


def questions(tables: Tables) -> list[Posted]:
    """Every question of the catalogue, without side, key and answer."""
    return [*_signs(tables), *_motions(tables), *_tests(tables), *_parts(tables)]


def _per_digit(head: Posted, digits: tuple[str, ...]) -> Iterator[Posted]:
    for digit in digits:
        yield {**head, "digit": digit}
    if not digits:
        yield head


def _signs(tables: Tables) -> Iterator[Posted]:
    for (joint, part, site), row in tables.sites.items():
        for sign in row.signs:
            head = {"kind": part, "joint": joint, "site": site, "sign": sign}
            yield from _per_digit(head, row.digits or tables.joints[joint].digits)


def _motions(tables: Tables) -> Iterator[Posted]:
    for (joint, motion), row in tables.motions.items():
        for mode in row.modes:
            for arm in row.arm_positions or (None,):
                head = {"kind": "motion", "joint": joint, "motion": motion, "mode": mode}
                if arm:
                    head["armPosition"] = arm
                yield from _per_digit(head, row.digits or tables.joints[joint].digits)


def _tests(tables: Tables) -> Iterator[Posted]:
    for (joint, test), row in tables.strength.items():
        head = {"kind": "strength", "joint": joint, "test": test}
        yield from _per_digit(head, row.digits or tables.joints[joint].digits)


def _parts(tables: Tables) -> Iterator[Posted]:
    pairs = {(joint, "motion") for joint, _ in tables.motions}
    pairs |= {(joint, "strength") for joint, _ in tables.strength}
    pairs |= {(joint, part) for joint, part, _ in tables.sites}
    for joint, part in sorted(pairs):
        head = {"kind": "part", "joint": joint, "part": part}
        yield from _per_digit(head, tables.joints[joint].digits)


class _Answers:
    """Draws answers so that no two of one exam contradict each other."""

    def __init__(self, draw: DrawFn, tables: Tables, sex: str) -> None:
        self.draw, self.tables, self.sex = draw, tables, sex
        self.reaches: dict[tuple[Any, ...], Any] = {}
        self.resting = draw(st.booleans())  # grades 0 and 1, and therefore no active motion

    def limit(self, joint: str, item: str, direction: str, finding: Posted) -> Limit:
        """The adult row, the strictest when several fit."""
        rows = [
            row
            for row in self.tables.limits[joint, item]
            if row.direction == direction
            and row.age_from <= 18 < row.age_below
            and row.arm_position in ("", finding.get("armPosition"))
            and row.digit in ("", finding.get("digit"))
        ]
        return min(rows, key=lambda row: row.refuse_above)

    def number(self, low: Decimal, high: Decimal) -> Decimal:
        """A number in halves or whole, sometimes with zeros behind the point."""
        whole = Decimal(self.draw(st.integers(int(low) + 1, max(int(high) - 1, int(low) + 1))))
        return whole + self.draw(st.sampled_from([Decimal(0), Decimal("0.0"), Decimal("0.50")]))

    def fill(self, finding: Posted, side: str) -> None:
        """Add the result of a finding."""
        kind = finding["kind"]
        if kind == "motion":
            self.motion(finding, side)
        elif kind == "strength":
            self.strength(finding)
        elif kind == "part":
            finding["outcome"] = "no-abnormality"
        else:
            self.sign(finding)

    def sign(self, finding: Posted) -> None:
        finding["present"] = self.draw(st.booleans())
        row = self.tables.signs[finding["kind"], finding["sign"]]
        if row.rated and self.draw(st.booleans()):
            amount = st.sampled_from([Decimal(1), Decimal("4.5"), Decimal("6.0"), Decimal(10)])
            finding["severity"] = self.draw(amount) if finding["present"] else Decimal(0)

    def motion(self, finding: Posted, side: str) -> None:
        row = self.tables.motions[finding["joint"], finding["motion"]]
        if row.measure == "grade":
            finding["grade"] = self.draw(st.sampled_from(list(self.tables.scales[row.scale])))
        elif row.measure == "distance":
            finding["distance"] = {"value": self.number(Decimal(0), Decimal(9)), "unit": "cm"}
        else:
            words = (finding.get("digit"), finding.get("armPosition"))
            place = (finding["joint"], finding["motion"], *words)
            if place not in self.reaches:
                reach = self.end(finding) if row.measure == "end" else self.angle(finding)
                self.reaches[place] = reach
            finding.update(copy.deepcopy(self.reaches[place]))
        self.conditions(finding, row.measure)
        del side

    def angle(self, finding: Posted) -> Posted:
        limit = self.limit(finding["joint"], finding["motion"], "", finding)
        warn = limit.warn_above or limit.refuse_above
        unusual = self.draw(st.integers(0, 9)) == 0
        low, high = (warn, limit.refuse_above) if unusual else (Decimal(4), warn)
        return {"angle": {"value": self.number(low, high), "unit": "deg"}}

    def end(self, finding: Posted) -> Posted:
        word = self.draw(st.sampled_from(["short-of-straight", "straight", "beyond-straight"]))
        if word == "straight":
            return {"end": word}
        limit = self.limit(finding["joint"], finding["motion"], word.split("-")[0], finding)
        value = self.number(Decimal(0), limit.refuse_above)
        return {"end": word, "magnitude": {"value": value, "unit": "deg"}}

    def strength(self, finding: Posted) -> None:
        row = self.tables.strength[finding["joint"], finding["test"]]
        if row.measure == "grade":
            scale = self.tables.scales[row.scale].values()
            low = 0 if self.resting else 2
            grades = [grade.grade for grade in scale if grade.ordinal >= low]
            finding["grade"] = self.draw(st.sampled_from(grades))
        else:
            unit = self.draw(st.sampled_from(list(row.units)))
            high = {"kg": 13, "lb": 30, "N": 130}[unit]
            count = self.draw(st.integers(1, 4))
            numbers = [self.number(Decimal(0), Decimal(high)) for _ in range(count)]
            finding["trials"] = [{"value": value, "unit": unit} for value in numbers]
        self.conditions(finding, row.measure)

    def conditions(self, finding: Posted, measure: str) -> None:
        """Method, position and limiters, each now and then."""
        for name, accepted in (
            ("method", self.methods(finding["kind"], measure)),
            ("position", self.options("position")),
        ):
            if self.draw(st.booleans()):
                finding[name] = self.draw(st.sampled_from(accepted))
        if self.draw(st.integers(0, 3)) == 0:
            words = st.lists(st.sampled_from(self.options("limiter")), max_size=3, unique=True)
            finding["limitedBy"] = self.draw(words)

    def methods(self, kind: str, measure: str) -> list[str]:
        rows = self.tables.methods.values()
        return [row.method for row in rows if kind in row.kinds and measure in row.measures]

    def options(self, kind: str) -> list[str]:
        return [option for name, option in self.tables.options if name == kind]

    def absent(self, finding: Posted) -> None:
        reason: Posted = {"reason": self.draw(st.sampled_from(REASONS))}
        if self.draw(st.booleans()):
            reason["because"] = self.draw(st.sampled_from(self.options("limiter")))
        finding["absent"] = reason


def _sides(tables: Tables, finding: Posted, draw: DrawFn) -> tuple[str, ...]:
    row = tables.signs.get((finding["kind"], finding.get("sign", "")))
    if row is not None and row.paired:
        return ("both",)
    choices: list[tuple[str, ...]] = [("left",), ("right",), ("left", "right")]
    test = tables.strength.get((finding["joint"], finding.get("test", "")))
    if test is None or test.measure == "grade":
        choices.append(("both",))
    return draw(st.sampled_from(choices))


@st.composite
def exams(draw: DrawFn, tables: Tables, most: int = 12) -> Posted:
    """Valid exams: every one is accepted, some with warnings."""
    sex = draw(st.sampled_from(["male", "female", "other", "unknown"]))
    answers = _Answers(draw, tables, sex)
    asked = draw(
        st.lists(st.integers(0, len(questions(tables)) - 1), min_size=1, max_size=most, unique=True)
    )
    catalogue = questions(tables)
    findings: list[Posted] = []
    for number in asked:
        question = catalogue[number]
        for side in _sides(tables, question, draw):
            finding = {**question, "side": side}
            resting = answers.resting and finding.get("mode") == "active"
            if resting or draw(st.integers(0, 5)) == 0:
                answers.absent(finding)
            else:
                answers.fill(finding, side)
            if draw(st.integers(0, 5)) == 0:
                finding["note"] = draw(TEXT)
            findings.append(finding)
    findings = _without_contradicting_parts(findings)
    keys = draw(st.lists(KEYS, min_size=len(findings), max_size=len(findings), unique=True))
    return _head(draw, sex, [{"key": k, **f} for k, f in zip(keys, findings, strict=True)])


def _without_contradicting_parts(findings: list[Posted]) -> list[Posted]:
    """A part is stated without abnormality only where nothing else of it is recorded."""
    recorded = {(one["joint"], one["kind"]) for one in findings}
    kept = [
        one
        for one in findings
        if one["kind"] != "part" or (one["joint"], one["part"]) not in recorded
    ]
    return kept or [{**findings[0], "side": "left"}]


def _head(draw: DrawFn, sex: str, findings: list[Posted]) -> Posted:
    exam: Posted = {
        "identifier": draw(IDENTIFIERS),
        "status": draw(st.sampled_from(["preliminary", "final"])),
        "effective": draw(
            st.sampled_from(
                [
                    "2026-03-02T10:15:00+01:00",
                    "2024-02-29T23:59:59.125Z",
                    "2026-03-02T00:00:00-09:30",
                ]
            )
        ),
        "patient": {
            "identifier": draw(IDENTIFIERS),
            "birthDate": draw(st.sampled_from(ADULT_BIRTHS)),
            "sex": sex,
            "dominantHand": draw(st.sampled_from(["right", "left", "ambidextrous", "unknown"])),
        },
        "examiner": {"identifier": draw(IDENTIFIERS)},
        "facility": {"identifier": draw(IDENTIFIERS)},
        "findings": findings,
    }
    if draw(st.booleans()):
        exam["encounter"] = {"identifier": draw(IDENTIFIERS)}
    if draw(st.booleans()):
        exam["note"] = draw(TEXT)
    return exam


Mutation = Callable[[Posted, int, DrawFn, Tables], str | None]
"""Breaks the exam in place at finding ``index``; returns the pointer, or None: does not apply."""


def _drop_head(exam: Posted, _: int, draw: DrawFn, __: Tables) -> str | None:
    name = draw(
        st.sampled_from(["identifier", "status", "effective", "patient", "examiner", "facility"])
    )
    del exam[name]
    return f"/{name}"


def _drop_deep(exam: Posted, _: int, draw: DrawFn, __: Tables) -> str | None:
    above, name = draw(
        st.sampled_from(
            [
                ("identifier", "system"),
                ("patient", "birthDate"),
                ("patient", "sex"),
                ("patient", "dominantHand"),
                ("examiner", "identifier"),
            ]
        )
    )
    del exam[above][name]
    return f"/{above}/{name}"


def _drop_member(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    required = {"key", "kind", "joint", "side", "site", "sign", "motion", "mode", "test", "part"}
    name = draw(st.sampled_from(sorted(required & finding.keys())))
    del finding[name]
    return f"/findings/{index}/{name}"


def _extra_head(exam: Posted, _: int, draw: DrawFn, __: Tables) -> str | None:
    name = draw(st.sampled_from(["birth_date", "patientName", "findingz", "x"]))
    exam["patient"][name] = "something"
    return f"/patient/{name}"


def _extra_member(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    name = draw(st.sampled_from(["angel", "lefty", "limited_by", "arm_position"]))
    exam["findings"][index][name] = 1
    return f"/findings/{index}/{name}"


def _wrong_type(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    name = draw(st.sampled_from(sorted(finding.keys() - {"kind"})))
    finding[name] = draw(st.sampled_from([17, 1.5])) if name != "severity" else "3"
    return f"/findings/{index}/{name}"


def _unknown_word(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    names = {
        "kind",
        "joint",
        "side",
        "site",
        "sign",
        "motion",
        "mode",
        "test",
        "part",
        "method",
        "position",
        "digit",
        "armPosition",
        "grade",
    }
    name = draw(st.sampled_from(sorted(names & finding.keys())))
    finding[name] = draw(st.sampled_from(["nowhere", "no-such-word"]))
    return f"/findings/{index}/{name}"


def _odd_word(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    names = {"joint", "site", "sign", "motion", "test", "digit", "method"}
    usable = sorted(names & finding.keys())
    name = draw(st.sampled_from(usable))
    finding[name] = draw(st.sampled_from(["Shoulder", "a--b", " elbow", "", "ä", "x" * 65]))
    return f"/findings/{index}/{name}"


def _degree_sign(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    for name in ("angle", "magnitude", "distance"):
        if name in finding:
            finding[name]["unit"] = draw(st.sampled_from(["°", "degrees", "rad", "in"]))
            return f"/findings/{index}/{name}/unit"
    return None


def _quoted_number(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    finding = exam["findings"][index]
    for name in ("angle", "magnitude", "distance"):
        if name in finding:
            finding[name]["value"] = "20"
            return f"/findings/{index}/{name}/value"
    if "trials" in finding:
        finding["trials"][-1]["value"] = "20"
        return f"/findings/{index}/trials/{len(finding['trials']) - 1}/value"
    return None


def _too_far(exam: Posted, index: int, draw: DrawFn, _: Tables) -> str | None:
    finding = exam["findings"][index]
    for name in ("angle", "magnitude", "distance"):
        if name in finding:
            finding[name]["value"] = draw(st.sampled_from([Decimal("210.5"), Decimal(400)]))
            return f"/findings/{index}/{name}/value"
    return None


def _below_zero(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    finding = exam["findings"][index]
    if "trials" not in finding:
        return None
    finding["trials"][0]["value"] = Decimal("-0.5")
    return f"/findings/{index}/trials/0/value"


def _no_result(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    finding = exam["findings"][index]
    for name in ("angle", "end", "grade", "distance", "trials", "present", "outcome"):
        if name in finding:
            del finding[name]
            finding.pop("magnitude", None)
            finding.pop("severity", None)
            return f"/findings/{index}/{name}"
    return None


def _absent_too(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    if "absent" in exam["findings"][index]:
        return None
    exam["findings"][index]["absent"] = {"reason": "not-tested"}
    return f"/findings/{index}/absent"


def _key_again(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    if index == 0:
        return None
    exam["findings"][index]["key"] = exam["findings"][0]["key"]
    return f"/findings/{index}/key"


def _asked_again(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    exam["findings"].append({**exam["findings"][index], "key": "asked.again"})
    return f"/findings/{len(exam['findings']) - 1}"


def _no_offset(exam: Posted, _: int, draw: DrawFn, __: Tables) -> str | None:
    exam["effective"] = draw(
        st.sampled_from(
            [
                "2026-03-02T10:15:00",
                "2026-02-30T10:15:00Z",
                "2026-03-02",
                "2026-03-02T25:00:00Z",
                "2026-03-02T10:15:00+15:00",
            ]
        )
    )
    return "/effective"


def _birth(exam: Posted, _: int, draw: DrawFn, __: Tables) -> str | None:
    wrong = ["2026-02-30", "2200-01-01", "11.4.1969", "1969-13"]
    exam["patient"]["birthDate"] = draw(st.sampled_from(wrong))
    return "/patient/birthDate"


def _digit(exam: Posted, index: int, _: DrawFn, tables: Tables) -> str | None:
    finding = exam["findings"][index]
    if "digit" in finding:
        del finding["digit"]
    else:
        finding["digit"] = next(iter(tables.digits))
    return f"/findings/{index}/digit"


def _no_arm_position(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    if "armPosition" not in exam["findings"][index]:
        return None
    del exam["findings"][index]["armPosition"]
    return f"/findings/{index}/armPosition"


def _no_magnitude(exam: Posted, index: int, _: DrawFn, __: Tables) -> str | None:
    if "magnitude" not in exam["findings"][index]:
        return None
    del exam["findings"][index]["magnitude"]
    return f"/findings/{index}/magnitude"


def _one_side(exam: Posted, index: int, _: DrawFn, tables: Tables) -> str | None:
    finding = exam["findings"][index]
    row = tables.signs.get((finding["kind"], finding.get("sign", "")))
    if row is None or not row.paired:
        return None
    finding["side"] = "left"
    return f"/findings/{index}/side"


MUTATIONS: tuple[Mutation, ...] = (
    _drop_head,
    _drop_deep,
    _drop_member,
    _extra_head,
    _extra_member,
    _wrong_type,
    _unknown_word,
    _odd_word,
    _degree_sign,
    _quoted_number,
    _too_far,
    _below_zero,
    _no_result,
    _absent_too,
    _key_again,
    _asked_again,
    _no_offset,
    _birth,
    _digit,
    _no_arm_position,
    _no_magnitude,
    _one_side,
)


@st.composite
def broken_exams(
    draw: DrawFn, tables: Tables, mutations: tuple[Mutation, ...] = MUTATIONS
) -> tuple[Posted, str]:
    """An exam broken at one place, and the JSON pointer of that place."""
    exam = draw(exams(tables, most=5))
    first = draw(st.integers(0, len(mutations) - 1))
    index = draw(st.integers(0, len(exam["findings"]) - 1))
    for mutation in (*mutations[first:], *mutations[:first]):
        pointer = mutation(exam, index, draw, tables)
        if pointer is not None:
            return exam, pointer
    raise AssertionError("no mutation applies")


def broken_by(tables: Tables, mutation: Mutation) -> SearchStrategy[tuple[Posted, str]]:
    """Exams broken by one mutation, or by dropping a member where it does not apply."""
    return broken_exams(tables, (mutation, _drop_member))
