"""What $validate says of a resource: one row for each kind of fault, and the list it grows into."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from brachium.problems import Listed, Problem, Severity

R4 = "FHIR R4 (4.0.1)"
OWN = "StructureDefinitions of this service"
UNKNOWN_ELEMENT = Listed(
    "r4-unknown-element",
    Severity.ERROR,
    "A member stands where FHIR R4 has none.",
    "What nobody can read could change the meaning.",
    "Take the member out, or put it where R4 has it.",
    R4,
)
SHAPE = Listed(
    "r4-shape",
    Severity.ERROR,
    "A value has the wrong JSON form.",
    "Objects, arrays, numbers and texts are told apart.",
    "Write the element as its definition says.",
    R4,
)
COUNT = Listed(
    "element-count",
    Severity.ERROR,
    "An element occurs too rarely or too often.",
    "A profile or R4 itself says how often it has to be there.",
    "Add what is missing, or take out what is too much.",
    R4,
)
VALUE = Listed(
    "element-value",
    Severity.ERROR,
    "An element has another value or type than its definition allows.",
    "A profile fixes it, or R4 gives it a grammar.",
    "Send the value that the definition names.",
    R4,
)
CODE = Listed(
    "code-not-bound",
    Severity.ERROR,
    "A code is not in the value set that is required here.",
    "A receiver could not tell what it means.",
    "Use a code of the value set; $expand lists those of ours.",
    R4,
)
INVARIANT = Listed(
    "invariant-broken",
    Severity.ERROR,
    "A rule that is part of a definition does not hold.",
    "Elements contradict each other or lack each other.",
    "Read the rule in the StructureDefinition by its key, and put the elements right.",
    R4,
)
NOT_EVALUATED = Listed(
    "invariant-not-evaluated",
    Severity.WARNING,
    "A rule could not be worked out on what was sent.",
    "Nothing is known about it either way.",
    "Put the other problems right first.",
    R4,
)
NOT_OURS = Listed(
    "not-ours",
    Severity.ERROR,
    "The resource is none that this service makes or takes.",
    "It may be good FHIR R4, and would be refused all the same.",
    "Post the exam as JSON to /exams or as a QuestionnaireResponse, or validate against the "
    "profile of R4.",
    OWN,
)
NOT_JUDGED = Listed(
    "type-not-judged",
    Severity.WARNING,
    "A resource inside is of a type that is not judged here.",
    "Its definition is not among those that the service holds.",
    "Have it judged where resources of its type are taken.",
    OWN,
)
PROFILE = Listed(
    "profile-unknown",
    Severity.ERROR,
    "The profile is not one that can be judged by here.",
    "Only R4 itself and the profiles of this service are known.",
    "Name a StructureDefinition that this service serves, or none.",
    OWN,
)
COSTLY = Listed(
    "validation-limit",
    Severity.ERROR,
    "The resource was not judged to its end.",
    "It has more elements or faults than are looked at in one go.",
    "Put right what is listed, or send the parts one by one.",
    "own convention",
)
# made by what reads our Observations back
SIDE = Listed(
    "side-contradiction",
    Severity.ERROR,
    "The places of a resource that say the side disagree.",
    "Nobody could tell which side was meant.",
    "Correct the side; nothing is taken over until both agree.",
    "own rule msk-lat-1; FHIR R4 Observation.bodySite",
)
LISTED = (
    SIDE,
    UNKNOWN_ELEMENT,
    SHAPE,
    COUNT,
    VALUE,
    CODE,
    INVARIANT,
    NOT_EVALUATED,
    NOT_OURS,
    NOT_JUDGED,
    PROFILE,
    COSTLY,
)


class Enough(Exception):
    """The limits of one judgement are used up."""


class Remarks:
    """The problems found, and what may still be spent on finding more.

    Counts, not seconds: the same resource gets the same answer on every machine. ``elements`` is
    how many elements may be visited, ``rules`` how many expressions evaluated.
    """

    def __init__(self, elements: int = 250_000, rules: int = 8_000, most: int = 200) -> None:
        self.problems: list[Problem] = []
        self._elements, self._rules, self._most = elements, rules, most
        self._unjudged: list[str] = []

    def say(
        self, row: Listed, place: str, message: str, kind: str, remedy: str = "", source: str = ""
    ) -> None:
        """Add a problem at a FHIRPath place; nothing of what was sent may be in the message."""
        if len(self.problems) >= self._most:
            raise Enough
        found = replace(row.problem("", message, kind, remedy), place=place)
        found = replace(found, source=source) if source else found
        if found not in self.problems[-8:]:
            self.problems.append(found)

    def add(self, problems: Iterable[Problem]) -> None:
        """Add problems that others found, with their places."""
        for one in problems:
            if len(self.problems) >= self._most:
                raise Enough
            self.problems.append(one)

    @property
    def errors(self) -> int:
        """How many errors there are."""
        return sum(one.severity is Severity.ERROR for one in self.problems)

    def visit(self) -> None:
        """Count one element."""
        self._elements -= 1
        if self._elements < 0:
            raise Enough

    def evaluate(self) -> None:
        """Count one expression; those that are left to the engine take time in its length alone."""
        self._rules -= 1
        if self._rules < 0:
            raise Enough

    def pass_over(self, place: str) -> None:
        """Note a resource of a type that is not judged."""
        self._unjudged.append(place)

    @property
    def spotless(self) -> bool:
        """Whether everything was looked at and nothing was found."""
        return not self.problems and not self._unjudged

    def end(self) -> tuple[Problem, ...]:
        """Return every problem; what was passed over is told once, at its first place."""
        if self._unjudged:
            number = len(self._unjudged)
            text = f"{number} resources inside are of types that are not judged here."
            text = (
                "A resource inside is of a type that is not judged here." if number == 1 else text
            )
            found = NOT_JUDGED.problem("", text, "not-supported")
            self.problems.append(replace(found, place=self._unjudged[0]))
        return tuple(self.problems)

    def cut(self) -> None:
        """Say that the judgement ended early."""
        row = COSTLY
        self.problems.append(replace(row.problem("", row.title, "too-costly"), place="%resource"))
