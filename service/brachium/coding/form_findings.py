"""The groups of findings of a joint: one for each kind, asking what that joint allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from brachium.coding.form import Choice, Item, When, only_when, word_of
from brachium.coding.form_lists import Lists
from brachium.exam.findings import MOST_LIMITERS, MOST_TRIALS, NOTE_PATTERN

if TYPE_CHECKING:
    from brachium.tables.rows import MotionRow

_LONGEST_KEY = 64
LONGEST_NOTE = 4000
_SEVERITY = (0, 10)
KEY_PATTERN = "[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
Row = Any  # a row of model/motions.csv or model/strength.csv


class Group:
    """Builds one group of findings; ``link`` is the group's own linkId."""

    def __init__(self, lists: Lists, link: str) -> None:
        self.lists = lists
        self.link = link

    def item(self, name: str, text: str, kind: str, **more: Any) -> Item:  # noqa: ANN401
        """Return a question of this group, answering the member of its own name."""
        return Item(link=self.at(name), text=text, kind=kind, **{"member": name, **more})

    def at(self, name: str) -> str:
        """Return the linkId of a question of this group."""
        return f"{self.link}.{_linked(name)}"

    def choice(self, name: str, text: str, choices: Sequence[Choice], **more: Any) -> Item:  # noqa: ANN401
        """Return a question that is answered by a choice."""
        return self.item(name, text, "choice", choices=tuple(choices), **{"member": "", **more})

    def head(self) -> Iterator[Item]:
        """Key and side, which every finding has."""
        yield self.item("key", "Key", "string", longest=_LONGEST_KEY, form=KEY_PATTERN, hidden=True)
        sides = self.lists.sides()
        yield self.choice("side", "Side", sides, required=True, shared="sides")

    def tail(self) -> Iterator[Item]:
        """Why there is no result, and the note."""
        absences = self.lists.absences()
        yield self.choice("absent", "No result because", absences, shared="absences")
        yield self.choice(
            "because",
            "What prevented it",
            self.lists.options("limiter", "absent/because"),
            shared="limiters",
            when=When(self.at("absent"), absences),
        )
        yield self.item("note", "Note", "text", longest=LONGEST_NOTE, form=NOTE_PATTERN)

    def conditions(self, kind: str, rows: Sequence[Row]) -> Iterator[Item]:
        """How a motion or a test was done, and what limited it."""
        measures = dict.fromkeys(row.measure for row in rows)
        yield self.choice("method", "Method", self.lists.methods(kind, measures))
        positions = self.lists.options("position", "position")
        yield self.choice("position", "Position of the patient", positions, shared="positions")
        yield self.choice(
            "limitedBy",
            "Limited by",
            self.lists.options("limiter", "limitedBy"),
            shared="limiters",
            repeats=True,
            most=MOST_LIMITERS,
            concept="limited-by",
        )

    def digit(self, joint: str, link: str, rows: Sequence[tuple[Choice, Row]]) -> Iterator[Item]:
        """Which digit, where a row of the tables has several."""
        own = self.lists.tables.joints[joint].digits
        fitting = [choice for choice, row in rows if row.digits or own]
        digits = {digit for _, row in rows for digit in row.digits or own}
        if digits:
            when = only_when(link, [choice for choice, _ in rows], fitting)
            choices = self.lists.digits(joint, digits)
            yield self.choice("digit", "Digit", choices, required=True, when=when)


def _linked(name: str) -> str:
    return "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in name)


def signs(lists: Lists, joint: str, part: str, link: str) -> tuple[Item, ...]:
    """Return the questions of a sign of inspection or palpation."""
    group, offered = Group(lists, link), lists.signs(joint, part)
    rows = lists.tables.signs
    rated = [choice for choice in offered if rows[part, word_of(choice, "sign")].rated]
    severity = group.item(
        "severity",
        "Severity from 0 to 10",
        "decimal",
        bounds=_SEVERITY,
        concept="severity",
        when=only_when(group.at("sign"), offered, rated),
    )
    return (
        *group.head(),
        group.choice("site", "Where", lists.sites(joint, part), required=True),
        group.choice("sign", "Sign", offered, required=True),
        group.item("present", "Present", "boolean"),
        *((severity,) if rated else ()),
        *group.tail(),
    )


def motions(lists: Lists, joint: str, link: str) -> tuple[Item, ...]:
    """Return the questions of a motion."""
    group, rows = Group(lists, link), lists.motions(joint)
    question = group.at("motion")
    return (
        *group.head(),
        group.choice("motion", "Motion", [choice for choice, _ in rows], required=True),
        *group.digit(joint, question, rows),
        *_arm_position(group, question, rows),
        *_measured(group, question, rows),
        *_grades(group, question, rows),
        *group.conditions("motion", [row for _, row in rows]),
        *group.tail(),
    )


def _arm_position(
    group: Group, question: str, rows: Sequence[tuple[Choice, MotionRow]]
) -> Iterator[Item]:
    positioned = [(choice, row) for choice, row in rows if row.arm_positions]
    words = {word for _, row in positioned for word in row.arm_positions}
    offered = group.lists.options("arm-position", "armPosition")
    if positioned:
        yield group.choice(
            "armPosition",
            "Position of the arm",
            [one for one in offered if word_of(one, "armPosition") in words],
            required=True,
            concept="arm-position",
            when=_asked(question, rows, positioned),
        )


def _asked(
    question: str, rows: Sequence[tuple[Choice, Row]], some: Sequence[tuple[Choice, Row]]
) -> When | None:
    return only_when(question, [choice for choice, _ in rows], [choice for choice, _ in some])


def _of(rows: Sequence[tuple[Choice, Row]], measure: str) -> list[tuple[Choice, Row]]:
    return [(choice, row) for choice, row in rows if row.measure == measure]


def _measured(
    group: Group, question: str, rows: Sequence[tuple[Choice, MotionRow]]
) -> Iterator[Item]:
    for measure, text in (("angle", "Angle"), ("distance", "Distance")):
        if fitting := _of(rows, measure):
            units = group.lists.units(row for _, row in fitting)
            when = _asked(question, rows, fitting)
            yield group.item(measure, text, "quantity", units=units, when=when)
    if fitting := _of(rows, "end"):
        yield from _ends(group, fitting, _asked(question, rows, fitting))


def _ends(group: Group, rows: Sequence[tuple[Choice, MotionRow]], when: When | None) -> Any:  # noqa: ANN401
    """Yield three questions, of which one is answered: a signed angle does not exist here."""
    units = group.lists.units(row for _, row in rows)
    says = {"member": "", "words": (("end", "straight"),)}
    yield group.item("straight", "Straight", "boolean", when=when, **says)
    for word, concept in (
        ("short-of-straight", "extension-deficit-angle"),
        ("beyond-straight", "hyperextension-angle"),
    ):
        says = {"member": "magnitude", "words": (("end", word),), "concept": concept}
        text = group.lists.tables.concepts[concept].display
        yield group.item(word, text, "quantity", units=units, when=when, **says)


def _grades(group: Group, question: str, rows: Sequence[tuple[Choice, Row]]) -> Iterator[Item]:
    """Yield one question for each scale, because two scales may use the same grade."""
    graded = _of(rows, "grade")
    for scale in dict.fromkeys(row.scale for _, row in graded):
        when = _asked(
            question, rows, [(choice, row) for choice, row in graded if row.scale == scale]
        )
        choices = group.lists.grades(scale)
        yield group.choice(f"grade-{scale}", "Grade", choices, shared=scale, when=when)


def strength(lists: Lists, joint: str, link: str) -> tuple[Item, ...]:
    """Return the questions of a strength test."""
    group, rows = Group(lists, link), lists.tests(joint)
    question = group.at("test")
    forces = _of(rows, "force")
    trials = group.item(
        "trials",
        "Trials, in the order in which they were made",
        "quantity",
        repeats=True,
        most=MOST_TRIALS,
        units=lists.units(row for _, row in forces),
        concept="trial",
        when=_asked(question, rows, forces),
    )
    return (
        *group.head(),
        group.choice("test", "Test", [choice for choice, _ in rows], required=True),
        *group.digit(joint, question, rows),
        *_grades(group, question, rows),
        *((trials,) if forces else ()),
        *group.conditions("strength", [row for _, row in rows]),
        *group.tail(),
    )


def whole(lists: Lists, joint: str, link: str) -> tuple[Item, ...]:
    """Return the questions of a part of a joint recorded at once."""
    group = Group(lists, link)
    digits = lists.digits(joint, lists.tables.joints[joint].digits)
    outcomes = lists.outcomes()
    return (
        *group.head(),
        *((group.choice("digit", "Digit", digits, required=True),) if digits else ()),
        group.choice("outcome", "Outcome", outcomes, shared="outcomes"),
        *group.tail(),
    )
