"""The form of an exam: sections, questions and accepted answers, made of the tables.

One tree serves three: the Questionnaire shows it, the reading of responses walks it, the writing of
responses fills it. Nothing here knows FHIR's JSON. A new joint is rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.tables.rows import Unit

# what an answer says: members of a finding by their place in it, "absent/reason" being inside
Words = tuple[tuple[str, str], ...]


class Choice(NamedTuple):
    """An answer to pick: a coding, and the words of the exam it stands for."""

    system: str
    code: str
    display: str
    words: Words = ()


class When(NamedTuple):
    """Which answers to another question of the same group make a question asked."""

    link: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Item:
    """A group or a question.

    ``link`` is unique in the form, ``kind`` a FHIR R4 item type. ``member`` is where the answer
    goes: a place in the finding (a JSON pointer without the first slash), or in the exam for
    questions that belong to no finding. ``words`` are said by every answer besides its value, and
    by every instance of a group of findings. ``shared`` names the list that holds ``choices`` when
    several questions have it; ``concept`` is our concept of the question.
    """

    link: str
    text: str
    kind: str
    member: str = ""
    words: Words = ()
    items: tuple[Item, ...] = ()
    required: bool = False
    repeats: bool = False
    most: int | None = None
    longest: int | None = None
    choices: tuple[Choice, ...] = ()
    shared: str = ""
    units: tuple[Unit, ...] = ()
    bounds: tuple[int, int] | None = None
    form: str = ""
    refers: str = ""
    when: When | None = None
    concept: str = ""
    prefix: str = ""
    hidden: bool = False

    @property
    def finding(self) -> bool:
        """Tell whether each instance of this group is a finding."""
        return self.kind == "group" and bool(self.words)


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """The whole form; ``findings`` holds its groups of findings by their words."""

    items: tuple[Item, ...]
    findings: Mapping[Words, Item]

    def group(self, said: Mapping[str, object]) -> Item:
        """Return the group that a finding belongs to; ``LookupError`` when there is none."""
        for names in (("kind", "joint"), ("kind", "joint", "part")):
            group = self.findings.get(tuple((name, str(said.get(name))) for name in names))
            if group is not None:
                return group
        raise LookupError("no group of the form takes this finding")


def groups(items: Iterable[Item]) -> Iterable[Item]:
    """Yield every group of findings below ``items``, in order."""
    for item in items:
        if item.finding:
            yield item
        else:
            yield from groups(item.items)


def only_when(link: str, choices: Iterable[Choice], fitting: Iterable[Choice]) -> When | None:
    """Return the condition for a question that belongs to some choices; ``None`` for all."""
    offered, wanted = tuple(choices), set(fitting)
    if wanted == set(offered):
        return None
    return When(link, tuple(choice for choice in offered if choice in wanted))


def word_of(choice: Choice, member: str) -> str:
    """Return the word that a choice says about a member, or an empty text."""
    return dict(choice.words).get(member, "")


def matches(words: Words, said: Mapping[str, object]) -> bool:
    """Tell whether all words are said."""
    for member, word in words:  # noqa: SIM110 - asked thousands of times for each exam
        if said.get(member) != word:
            return False
    return True
