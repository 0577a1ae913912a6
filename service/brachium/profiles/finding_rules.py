"""The rules of our own profiles: an expression for everybody, and the same in Python for us.

A profile has to say its rules in FHIRPath. Worked out by an engine, they would take seconds on a
large exam and minutes on a hostile one; a test holds both forms equal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding.fhir import ABSENT_REASON, LATERALITY, UCUM
from brachium.profiles.base import Rule

if TYPE_CHECKING:
    from brachium.coding.fhir import OwnUrls

Json: TypeAlias = Any

_BOTH = ("51440002", "side-both")
_SIDES = ("7771000", "24028007", "side-left", "side-right", *_BOTH)


def own_rule(key: str, human: str, expression: str, check: Callable[[Json], bool]) -> Rule:
    """Return a rule of ours; its source is the profile that carries it."""
    return Rule(key, "error", expression, human, "", check)


def _has_unit(one: Json) -> bool:
    quantity = one.get("valueQuantity")
    return quantity is None or (quantity.get("system") == UCUM and "code" in quantity)


UNIT = own_rule(
    "arm-unit",
    "A measured value has a unit in UCUM.",
    f"value.ofType(Quantity).all(system = '{UCUM}' and code.exists())",
    _has_unit,
)
RESULT = own_rule(
    "arm-result",
    "There is either a value or the reason why there is none.",
    "value.exists() xor dataAbsentReason.exists()",
    lambda one: any(key.startswith("value") for key in one) != ("dataAbsentReason" in one),
)
ABSENT = own_rule(
    "arm-absent",
    "What was cancelled says why (msk-abs-1).",
    "status = 'cancelled' implies dataAbsentReason.exists()",
    lambda one: one.get("status") != "cancelled" or "dataAbsentReason" in one,
)


def reasons(urls: OwnUrls) -> Rule:
    """Return the rule about the reason of an absence."""

    def said_twice(one: Json) -> bool:
        if "dataAbsentReason" not in one:
            return True
        systems = [c.get("system") for c in one["dataAbsentReason"].get("coding", ())]
        return systems.count(ABSENT_REASON) == 1 and systems.count(urls.concepts) == 1

    return own_rule(
        "arm-reason",
        "A reason is said once in HL7's words and once in ours (msk-abs-1).",
        f"dataAbsentReason.exists() implies "
        f"(dataAbsentReason.coding.where(system = '{ABSENT_REASON}').count() = 1 and "
        f"dataAbsentReason.coding.where(system = '{urls.concepts}').count() = 1)",
        said_twice,
    )


def _sides(one: Json) -> Iterator[Json]:
    for extension in one.get("bodySite", {}).get("extension", ()):
        if extension.get("url") == LATERALITY:
            for coding in extension.get("valueCodeableConcept", {}).get("coding", ()):
                yield coding.get("code")


_LATERALITY = f"bodySite.extension.where(url = '{LATERALITY}').value.coding.code"


def _is_one_of(codes: tuple[str, ...]) -> str:
    return " or ".join(f"$this = '{code}'" for code in codes)


BOTH_SIDES = own_rule(
    "arm-both-sides",
    "A panel is about both sides (msk-lat-2).",
    f"{_LATERALITY}.where({_is_one_of(_BOTH)}).exists()",
    lambda one: any(code in _BOTH for code in _sides(one)),
)
ONE_SIDE = own_rule(
    "arm-side",
    "The side is left, right or, for a sign recorded once about both, both (msk-lat-2).",
    f"{_LATERALITY}.where({_is_one_of(_SIDES)}).count() = 1",
    lambda one: sum(code in _SIDES for code in _sides(one)) == 1,
)


def end(urls: OwnUrls) -> Rule:
    """Return the rule about the end of an extension."""

    def stated(code: str) -> str:
        own = f"system = '{urls.concepts}' and code = '{code}'"
        return f"component.code.coding.where({own}).exists()"

    def is_stated(one: Json) -> bool:
        codes = {
            coding.get("code")
            for part in one.get("component", ())
            for coding in part.get("code", {}).get("coding", ())
            if coding.get("system") == urls.concepts
        }
        if "axis-convention" not in codes or "valueQuantity" not in one:
            return True
        angle = one["valueQuantity"]["value"]
        told = ("hyperextension-angle" in codes, "extension-deficit-angle" in codes)
        return bool(told[0] == (angle < 0) and told[1] == (angle > 0))

    angle = "value.ofType(Quantity).value"
    return own_rule(
        "arm-end",
        "The end of an extension says its direction beside the angle on the axis (msk-ext-1).",
        f"({stated('axis-convention')} and {angle}.exists()) implies "
        f"(({angle} < 0) = {stated('hyperextension-angle')} and "
        f"({angle} > 0) = {stated('extension-deficit-angle')})",
        is_stated,
    )


def _has_one_report(bundle: Json) -> bool:
    kinds = [entry.get("resource", {}).get("resourceType") for entry in bundle["entry"]]
    return kinds.count("DiagnosticReport") == 1


ONE_REPORT = own_rule(
    "arm-one-report",
    "An exam has one report.",
    "entry.resource.ofType(DiagnosticReport).count() = 1",
    _has_one_report,
)
