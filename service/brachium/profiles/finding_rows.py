"""What an Observation of ours has to hold, by kind of finding (modelling sections 1 and 4)."""

from __future__ import annotations

from typing import NamedTuple

from brachium.coding.fhir import (
    BODY_POSITION,
    DEVICE_CODE,
    LATERALITY,
    OBSERVATION_CATEGORY,
    STATUS_REASON,
    OwnUrls,
)
from brachium.profiles.finding_rules import ABSENT, BOTH_SIDES, ONE_SIDE, RESULT, UNIT, end, reasons
from brachium.profiles.rows import (
    Profile,
    Row,
    coded,
    extensions,
    joined,
    kinds,
    needed,
    none,
    refers,
)

O = "Observation"  # noqa: E741 - it stands before every path below


class Kind(NamedTuple):
    """One kind of finding: its profile, its codes and the value it has."""

    name: str
    title: str
    values: str
    value: tuple[str, ...]
    concepts: tuple[str, ...]


# ``concepts`` are the kinds of our concepts that such an Observation is about
KINDS = (
    Kind(
        "motion", "Motion of a joint on one side", "", ("Quantity", "CodeableConcept"), ("motion",)
    ),
    Kind("sign", "Sign looked for or felt", "arm-exam-presence", ("CodeableConcept",), ("sign",)),
    Kind("strength", "Strength", "", ("Quantity", "CodeableConcept"), ("strength",)),
    Kind("part", "Whole part of a joint", "arm-exam-outcome", ("CodeableConcept",), ("part",)),
    Kind(
        "derived",
        "Value worked out from findings",
        "",
        ("Quantity",),
        ("computation", "side-difference"),
    ),
    Kind("panel", "Examination of a joint", "", (), ("panel",)),
)


def profile_name(kind: str) -> str:
    """Return the name of the profile of a kind of finding."""
    return f"arm-exam-{kind}"


def findings(canonical: str) -> tuple[Profile, ...]:
    """Return a profile for each kind."""
    urls = OwnUrls(canonical)
    return tuple(
        Profile(
            profile_name(kind.name),
            kind.title,
            f"An Observation of this service: {kind.title[0].lower()}{kind.title[1:]}.",
            O,
            _rows(kind, canonical, urls),
        )
        for kind in KINDS
    )


def _rows(kind: Kind, canonical: str, urls: OwnUrls) -> tuple[Row, ...]:
    values = f"{canonical}/ValueSet"
    common = _common(profile_name(kind.name), values, urls)
    if kind.name == "panel":
        return joined(common, _panel())
    result = _result(kind, values)
    if kind.name == "derived":
        return joined(common, result, _derived(values, urls))
    return joined(common, result, _leaf(kind, values, urls))


def _common(name: str, values: str, urls: OwnUrls) -> tuple[Row, ...]:
    exam = {"coding": [{"system": OBSERVATION_CATEGORY, "code": "exam"}]}
    words = "What is found: our own concept without the side, which is the key for trends."
    return joined(
        needed(f"{O}.identifier", f"{O}.identifier.system", f"{O}.identifier.value"),
        (Row(f"{O}.category", 1, "1", set=("patternCodeableConcept", exam)),),
        coded(f"{O}.code", "own", urls.concepts, f"{values}/{name}", words),
        needed(f"{O}.code.text"),
        (
            Row(f"{O}.subject", 1, "1", refers("Patient")),
            Row(f"{O}.effective[x]", 1, "1", kinds("dateTime")),
        ),
        needed(f"{O}.issued"),
        (Row(f"{O}.performer", 1, "*", refers("Practitioner", "Organization")),),
        (Row(f"{O}.bodySite", 1, "1", words="Where: the structure, and its side beside it."),),
        extensions(f"{O}.bodySite", ("laterality", LATERALITY, 1, "1")),
        coded(f"{O}.bodySite", "own", urls.concepts, f"{values}/arm-exam-site", "The place."),
        needed(f"{O}.bodySite.text"),
        none(f"{O}.specimen", f"{O}.focus"),
        (Row(f"{O}.component.code.coding", 1), Row(f"{O}.component.value[x]", 1, "1")),
    )


def _result(kind: Kind, values: str) -> tuple[Row, ...]:
    interpretation = f"{values}/arm-exam-interpretation"
    least = 1 if kind.name == "derived" else 0
    bound = f"{values}/{kind.values}" if kind.values else ""
    return (
        Row(O, rules=(UNIT,)),
        Row(f"{O}.value[x]", least, "1", kinds(*kind.value), values=bound),
        Row(f"{O}.interpretation", 0, "1", values=interpretation),
        Row(f"{O}.method", 1 if kind.name == "derived" else 0, "1"),
        Row(f"{O}.referenceRange", 0, "1"),
        *none(f"{O}.hasMember"),
    )


def _leaf(kind: Kind, values: str, urls: OwnUrls) -> tuple[Row, ...]:
    rules = [RESULT, ABSENT, reasons(urls), ONE_SIDE]
    if kind.name == "motion":
        rules.append(end(urls))
    rows = [Row(O, rules=tuple(rules)), *none(f"{O}.derivedFrom")]
    told = [("statusReason", STATUS_REASON, 0, "1")]
    if kind.name in ("motion", "strength"):
        told += [("bodyPosition", BODY_POSITION, 0, "1"), ("deviceCode", DEVICE_CODE, 0, "1")]
        unstated = ("notStated", urls.definition("method-not-stated"), 0, "1")
        rows += extensions(f"{O}.method", unstated)
    method = coded(f"{O}.method", "own", urls.concepts, f"{values}/arm-exam-method", "The method.")
    return joined(rows, method, extensions(O, *told))


def _derived(values: str, urls: OwnUrls) -> tuple[Row, ...]:
    calculated = ("fixedCode", "method-calculated")
    words = "The findings it was worked out from: it follows them on every correction."
    return joined(
        coded(f"{O}.method", "own", urls.concepts, f"{values}/arm-exam-method", "Calculated."),
        (
            Row(f"{O}.method.coding:own.code", 1, set=calculated),
            Row(f"{O}.derivedFrom", 1, "*", refers(O), words=words),
        ),
        none(f"{O}.dataAbsentReason"),
    )


def _panel() -> tuple[Row, ...]:
    never = ("value[x]", "dataAbsentReason", "component", "interpretation", "referenceRange")
    return (
        Row(O, rules=(BOTH_SIDES,)),
        Row(f"{O}.hasMember", 1, "*", refers(O), words="Every finding of the joint, both sides."),
        *none(*(f"{O}.{name}" for name in (*never, "derivedFrom", "method"))),
    )
