"""A FHIR R4 QuestionnaireResponse to our Questionnaire, read into an exam as it would be posted.

Nothing is guessed and nothing is dropped: what is not understood is a problem with its place in the
response, and there is no exam then. Medicine is not asked here; the rules of the exam are, by
whoever goes on with it, and :meth:`ReadResponse.placed` tells their problems in the response.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson

from brachium.coding import response_problems as listed
from brachium.coding.form import Choice, Item
from brachium.coding.form_tree import form_of
from brachium.coding.response_head import ROOT, Head
from brachium.coding.response_problems import Complaints
from brachium.coding.response_values import Values
from brachium.exam.reading import examine
from brachium.problems import Problem, refuses

if TYPE_CHECKING:
    from brachium.exam.rule import ModelOptions
    from brachium.tables.load import Tables

Json: TypeAlias = Any
_LONGEST_KEY = 64
_KEY_PARTS = (
    "kind",
    "joint",
    "part",
    "site",
    "sign",
    "motion",
    "test",
    "mode",
    "digit",
    "armPosition",
    "side",
)

# where the members of a value stand in an answer, in FHIRPath
_INNER = {
    "quantity": {"value": ".value.value", "unit": ".value.code"},
    "reference": {"system": ".value.identifier.system", "value": ".value.identifier.value"},
}


@dataclass(frozen=True, slots=True)
class ReadResponse:
    """What reading a response gave.

    ``exam`` is the exam as posted to the service (numbers as ``int`` and ``Decimal``), ``None``
    when a problem refuses it; ``places`` leads from JSON pointers into the exam to FHIRPath places
    in the response; ``status`` is the response's own. ``readable`` is the exam as far as it could
    be read, without findings that have a problem: for the rules to look at, never to be stored.
    """

    exam: dict[str, Json] | None
    problems: tuple[Problem, ...]
    places: Mapping[str, str]
    status: str = ""
    readable: Mapping[str, Json] = field(default_factory=dict)

    def content(self) -> bytes:
        """Return the exam as JSON text; raises ``LookupError`` when there is none."""
        if self.exam is None:
            raise LookupError("the response was refused")
        return orjson.dumps(self.exam, default=_digits)

    def place(self, pointer: str) -> str:
        """Return the place in the response of a JSON pointer into the exam, or of what holds it."""
        while pointer and pointer not in self.places:
            pointer = pointer.rpartition("/")[0]
        return self.places.get(pointer, ROOT)

    def placed(self, problems: Iterable[Problem]) -> tuple[Problem, ...]:
        """Return problems of the exam so that they name places in the response."""
        return tuple(replace(one, place=self.place(one.pointer)) for one in problems)


def read_response(resource: Json, tables: Tables, canonical: str) -> ReadResponse:
    """Read a response; ``resource`` is JSON parsed so that numbers keep their digits."""
    complaints = Complaints()
    if not isinstance(resource, dict) or resource.get("resourceType") != ROOT:
        complaints.add(listed.SHAPE, ROOT, "This is not a QuestionnaireResponse.")
        return ReadResponse(None, tuple(complaints.found), {})
    return _Reading(tables, canonical, complaints).read(resource)


def everything_wrong(
    found: ReadResponse, tables: Tables, options: ModelOptions
) -> tuple[Problem, ...]:
    """Return what is wrong with a refused response and, as far as it was read, with its exam.

    So that whoever sent it hears everything in one answer (EXM-06). What is missing is told by the
    problems of the response already.
    """
    raw = orjson.dumps(found.readable, default=_digits)
    problems = examine(raw, tables, options).problems if found.readable else ()
    told = [one for one in problems if _stands(one.pointer, found.places)]
    return (*found.problems, *found.placed(told))


def _stands(pointer: str, places: Mapping[str, str]) -> bool:
    return pointer in places or pointer.startswith("/findings/")


def _digits(value: object) -> Json:
    if isinstance(value, Decimal):
        return orjson.Fragment(str(value))
    raise TypeError(type(value).__name__)


class _Answered:
    """What one group said: members by their place, and which questions were answered how."""

    def __init__(self, base: str, place: str) -> None:
        self.base = base
        self.place = place
        self.said: dict[str, Json] = {}
        self.links: dict[str, str] = {}
        self.picked: dict[str, set[Choice]] = {}
        self.bad: set[str] = set()


class _Reading:
    """One reading of one response."""

    def __init__(self, tables: Tables, canonical: str, complaints: Complaints) -> None:
        self._form = form_of(tables, canonical)
        self._complaints = complaints
        self._values = Values(complaints, tables.edition)
        self._head = Head(tables, canonical, complaints)
        self._places = self._head.places
        self._exam: dict[str, Json] = {}
        self._findings: list[dict[str, Json]] = []
        self._lost = False

    def read(self, resource: dict[str, Json]) -> ReadResponse:
        self._exam = self._head.read(resource, self._values)
        head = _Answered("", ROOT)
        self._group(resource.get("item"), self._form.items, head)
        _fold(head.said, self._exam)
        self._exam["findings"] = self._findings
        if self._values.reworded:
            count = len(self._values.reworded)
            message = f"{count} texts differ from those of the Questionnaire, the first here."
            self._complaints.add(listed.WORDING, self._values.reworded[0], message)
        if not self._lost:
            self._places["/findings"] = ROOT
        problems = tuple(self._complaints.found)
        exam = None if refuses(problems) else self._exam
        status = str(resource.get("status", ""))
        return ReadResponse(exam, problems, self._places, status, self._exam)

    def _group(self, nodes: Json, items: Iterable[Item], into: _Answered) -> None:
        """Read the items of a group instance, then ask what is missing or out of place."""
        known = {item.link: item for item in items}
        seen: set[str] = set()
        if nodes is not None and not isinstance(nodes, list):
            self._complaints.add(listed.SHAPE, into.place, "Items are expected as a list.")
            nodes = []
        for index, node in enumerate(nodes or ()):
            place = f"{into.place}.item[{index}]"
            item = known.get(str(node.get("linkId"))) if isinstance(node, dict) else None
            if item is None:
                self._unknown(node, place)
                continue
            if item.link in seen and not item.finding:
                message = "This question or section stands here already."
                self._complaints.add(listed.SEVERAL, place, message)
                continue
            seen.add(item.link)
            self._item(node, item, place, into)
        self._complete(known.values(), seen, into)

    def _unknown(self, node: Json, place: str) -> None:
        if not isinstance(node, dict):
            self._complaints.add(listed.SHAPE, place, "An item is expected here.")
            return
        self._complaints.add(listed.ITEM, place, "The form has no such linkId in this group.")

    def _item(self, node: dict[str, Json], item: Item, place: str, into: _Answered) -> None:
        inside = "item" if item.kind == "group" else "answer"
        clean = self._values.only(node, ("linkId", "text", inside), place)
        self._values.wording(node.get("text"), item.text, f"{place}.text")
        if item.finding:
            self._finding(node.get("item"), item, place)
        elif item.kind == "group":
            self._section(node.get("item"), item, place, into)
        elif not clean or not self._answers(node.get("answer"), item, place, into):
            into.bad.add(item.link)

    def _section(self, nodes: Json, item: Item, place: str, into: _Answered) -> None:
        inner = _Answered("", place)
        self._group(nodes, item.items, inner)
        into.said |= inner.said

    def _finding(self, nodes: Json, item: Item, place: str) -> None:
        """Read an instance of a group of findings; one with an error is not among the readable.

        Form fillers send an instance that was opened and left empty; it says nothing.
        """
        if _says_nothing(nodes):
            return
        base, before = f"/findings/{len(self._findings)}", len(self._complaints.found)
        inner = _Answered(base, place)
        inner.said = dict(item.words)
        self._group(nodes, item.items, inner)
        if refuses(self._complaints.found[before:]):
            self._lost = True
            for pointer in [one for one in self._places if one.startswith(f"{base}/")]:
                del self._places[pointer]
            return
        if "key" not in inner.said:
            inner.said["key"] = derived_key(inner.said)
        self._places[base] = place
        self._findings.append({})
        _fold(inner.said, self._findings[-1])

    def _answers(self, answers: Json, item: Item, place: str, into: _Answered) -> bool:
        """Read the answers to a question; ``False`` when something is wrong with one."""
        if answers is None:
            return True
        if not isinstance(answers, list):
            self._complaints.add(listed.SHAPE, place, "Answers are expected as a list.")
            return False
        if len(answers) > 1 and not item.repeats:
            message = f"{len(answers)} answers where one is allowed."
            self._complaints.add(listed.SEVERAL, f"{place}.answer[1]", message)
            return False
        good = True
        for index, answer in enumerate(answers):
            at = f"{place}.answer[{index}]"
            value = self._values.answer(item, answer, at)
            good = good and value is not None
            if value is not None:
                into.links.setdefault(item.link, at)
                good = self._keep(item, value, at, into) and good
        return good

    def _keep(self, item: Item, value: Json, place: str, into: _Answered) -> bool:
        words = list(item.words)
        if isinstance(value, Choice):
            words += value.words
            into.picked.setdefault(item.link, set()).add(value)
        elif item.member and not item.repeats:
            words.append((item.member, value))
        if item.repeats:
            self._append(item, value, place, into)
            return True
        return all(self._say(item, one, place, into) for one in words)

    def _append(self, item: Item, value: Json, place: str, into: _Answered) -> None:
        member, word = value.words[0] if isinstance(value, Choice) else (item.member, value)
        said = into.said.setdefault(member, [])
        self._place(item, f"{into.base}/{member}/{len(said)}", place)
        self._places.setdefault(f"{into.base}/{member}", place)
        said.append(word)

    def _say(self, item: Item, words: tuple[str, Json], place: str, into: _Answered) -> bool:
        member, word = words
        if into.said.get(member, word) != word:
            message = "This contradicts another answer of the same group."
            self._complaints.add(listed.CONTRADICTION, place, message)
            return False
        into.said[member] = word
        self._place(item, f"{into.base}/{member}", place)
        return True

    def _place(self, item: Item, pointer: str, place: str) -> None:
        self._places[pointer] = place
        for name, inner in _INNER.get(item.kind, {}).items():
            self._places[f"{pointer}/{name}"] = place + inner

    def _complete(self, items: Collection[Item], seen: set[str], into: _Answered) -> None:
        for item in items:
            asked = self._asked(item, items, into)
            if item.required and asked and not self._told(item, seen, into):
                message = f'"{item.text}" is missing here.'
                remedy = f"Add an item with linkId {item.link}."
                self._complaints.add(listed.MISSING, into.place, message, remedy)
            if asked is False and item.link in into.links:
                message = f'"{item.text}" does not belong to the other answers of this group.'
                self._complaints.add(listed.NOT_ASKED, into.links[item.link], message)

    def _told(self, item: Item, seen: set[str], into: _Answered) -> bool:
        if item.kind == "group":
            return item.link in seen
        return item.link in into.links or item.link in into.bad

    def _asked(self, item: Item, items: Collection[Item], into: _Answered) -> bool | None:
        """Tell whether a question is asked; ``None`` when the answer that decides it is no good."""
        when = item.when
        if when is None:
            return True
        if when.link in into.bad:
            return None
        picked = into.picked.get(when.link)
        if picked is None:
            deciding = next(one for one in items if one.link == when.link)
            return None if deciding.required else False
        return any(choice in picked for choice in when.choices)


def _says_nothing(nodes: Json) -> bool:
    return nodes is None or (
        isinstance(nodes, list)
        and all(isinstance(one, dict) and one.keys() <= {"linkId", "text"} for one in nodes)
    )


def _fold(said: Mapping[str, Json], into: dict[str, Json]) -> None:
    """Put members by their place into an object: ``absent/reason`` goes inside ``absent``."""
    for member, word in said.items():
        outer, slash, inner = member.partition("/")
        if slash:
            into.setdefault(outer, {})[inner] = word
        else:
            into[outer] = word


def derived_key(said: Mapping[str, Json]) -> str:
    """Return the key of a finding that has none: from its question and side, so that it stays.

    The same question about the same side cannot be answered twice in an exam.
    """
    key = ".".join(str(said[name]) for name in _KEY_PARTS if name in said)
    if len(key) <= _LONGEST_KEY:
        return key
    digest = hashlib.sha256(key.encode()).hexdigest()[:15]
    return f"{key[: _LONGEST_KEY - 16]}.{digest}"
