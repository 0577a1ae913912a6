"""One answer of a response: of the type that its question wants, or a problem."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeAlias

import jiter

from brachium.coding import response_problems as listed
from brachium.coding.fhir import UCUM
from brachium.coding.form import Choice, Item
from brachium.coding.identity import party_id
from brachium.coding.response_problems import Complaints
from brachium.coding.response_writing import VALUES
from brachium.exam.findings import Identifier
from brachium.exam.words import listed as in_words

if TYPE_CHECKING:
    from brachium.tables.rows import Unit

Json: TypeAlias = Any


class Values:
    """Reads answers and notes what is wrong with them."""

    def __init__(self, complaints: Complaints, edition: str) -> None:
        self._complaints = complaints
        self._edition = edition
        self.reworded: list[str] = []

    def only(self, value: Json, members: Iterable[str], place: str) -> bool:
        """Tell whether ``value`` is an object without other members; note what is not."""
        if not isinstance(value, dict):
            self._complaints.add(listed.SHAPE, place, "An object is expected here.")
            return False
        strangers = len(value.keys() - set(members))
        if strangers:
            known = in_words(members)
            message = f"{strangers} members here would be lost."
            self._complaints.add(
                listed.MEMBER, place, message, f"Keep to {known}; leave others out."
            )
        return not strangers

    def wording(self, said: Json, expected: str, place: str) -> None:
        """Note where a text is not the one of the form."""
        if said is not None and said != expected:
            self.reworded.append(place)

    def answer(self, item: Item, answer: Json, place: str) -> Json | Choice | None:
        """Return the value of an answer: a word, number or choice; ``None`` when it is no good."""
        name = VALUES[item.kind]
        if not isinstance(answer, dict) or name not in answer:
            self._type(place, f"The answer is expected as {name}.", f"Send {name}.")
            return None
        if not self.only(answer, (name,), place):
            return None
        value = answer[name]
        if item.kind == "choice":
            return self._choice(item, value, place)
        if item.kind == "quantity":
            return self._quantity(item, value, place)
        if item.kind == "reference":
            return self.party(item.refers, value, place)
        return self._plain(item, value, place)

    def _type(self, place: str, message: str, remedy: str = "") -> None:
        self._complaints.add(listed.TYPE, place, message, remedy)

    def _plain(self, item: Item, value: Json, place: str) -> Json:
        if item.kind == "boolean":
            return self._boolean(item, value, place)
        if item.kind == "decimal":
            return self._number(value, place)
        if isinstance(value, str):
            return value
        self._type(place, "Text is expected here.", "Send it in quotation marks.")
        return None

    def _boolean(self, item: Item, value: Json, place: str) -> bool | None:
        if not isinstance(value, bool):
            self._type(place, "true or false is expected here.", "Send true or false.")
            return None
        if not item.member and not value:
            message = "Only true can be said here."
            self._complaints.add(listed.OPTION, place, message, "Send true, or leave it out.")
            return None
        return value

    def _number(self, value: Json, place: str) -> Decimal | int | None:
        """Return the number with all its digits."""
        if isinstance(value, jiter.LosslessFloat):
            value = Decimal(bytes(value).decode())
        # NaN and Infinity are no JSON, but some parsers let them through
        if type(value) is int or (isinstance(value, Decimal) and value.is_finite()):
            return value
        self._type(place, "A number is expected here.", "Send a JSON number.")
        return None

    def _choice(self, item: Item, value: Json, place: str) -> Choice | None:
        if not self.only(value, ("system", "version", "code", "display"), place):
            return None
        for choice in item.choices:
            if (choice.system, choice.code) == (value.get("system"), value.get("code")):
                self.wording(value.get("display"), choice.display, place)
                self.wording(value.get("version"), self._edition, place)
                return choice
        offered = [choice.code for choice in item.choices]
        system = item.choices[0].system
        remedy = f"Use a code of {system}: {in_words(offered[:40])}."
        self._complaints.add(listed.OPTION, place, "This answer is not offered here.", remedy)
        return None

    def _quantity(self, item: Item, value: Json, place: str) -> dict[str, Json] | None:
        if not self.only(value, ("value", "unit", "system", "code"), place):
            return None
        unit = next(
            (u for u in item.units if (UCUM, u.ucum) == (value.get("system"), value.get("code"))),
            None,
        )
        if unit is None or not _agrees(value.get("unit"), unit):
            codes = in_words(one.ucum for one in item.units if one.entered)
            remedy = f"Send system {UCUM} and code {codes}; the unit in words must say the same."
            self._complaints.add(listed.OPTION, place, "This unit is not offered here.", remedy)
            return None
        number = self._number(value.get("value"), place)
        return None if number is None else {"value": number, "unit": unit.unit}

    def party(self, kind: str, value: Json, place: str) -> dict[str, Json] | None:
        """Return the identifier of somebody who is referred to."""
        if not self.only(value, ("type", "identifier", "reference", "display"), place):
            return None
        by = self.identifier(value.get("identifier"), f"{place}.identifier", kind)
        if by is None:
            return None
        if value.get("type", kind) != kind:
            self._complaints.add(listed.PARTY, f"{place}.type", f"A {kind} is expected here.")
            return None
        if "reference" in value and not _same(kind, by, value["reference"]):
            message = "The reference does not lead to whom the identifier names here."
            remedy = "Send the identifier alone."
            self._complaints.add(listed.CONTRADICTION, f"{place}.reference", message, remedy)
            return None
        if "display" in value:
            self._complaints.add(listed.NOT_KEPT, f"{place}.display", "Names are not kept.")
        return by

    def identifier(self, value: Json, place: str, whose: str) -> dict[str, Json] | None:
        """Return system and value of an identifier."""
        if value is None:
            self._complaints.add(listed.PARTY, place, f"The identifier of the {whose} is missing.")
            return None
        if not self.only(value, ("system", "value"), place):
            return None
        if not all(isinstance(value.get(name), str) for name in ("system", "value")):
            self._complaints.add(listed.PARTY, place, "System and value are expected as text.")
            return None
        return {"system": value["system"], "value": value["value"]}


def _agrees(words: Json, unit: Unit) -> bool:
    return words is None or words in (unit.label, unit.unit, unit.ucum)


def _same(kind: str, by: dict[str, Json], reference: Json) -> bool:
    """Tell whether a reference is our own address of whom the identifier names."""
    identifier = Identifier.model_construct(system=by["system"], value=by["value"])
    own = f"{kind}/{party_id(kind, identifier)}"
    return isinstance(reference, str) and f"/{reference}".endswith(f"/{own}")
