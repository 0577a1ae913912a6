"""HL7's definitions of FHIR 4.0.1 reduced to facts: ``python -m tests.profiles.reduce``.

Writes the file that the service ships. What goes in: paths, cardinalities, types, bindings, flags
and the keys and expressions of rules (package hl7.fhir.r4.core, CC0). HL7's sentences stay out.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
from tests.oracles import bindings
from tests.oracles.definitions import DIGEST, by_url, package_folder

Json = dict[str, Any]

TARGET = Path(__file__).resolve().parents[2] / "service" / "brachium" / "profiles" / "r4.json"
RESOURCES = (
    "Bundle",
    "Composition",
    "DiagnosticReport",
    "DomainResource",
    "Observation",
    "Organization",
    "Patient",
    "Practitioner",
    "Provenance",
    "QuestionnaireResponse",
    "Resource",
)
_REGEX = "http://hl7.org/fhir/StructureDefinition/regex"
_TYPE = "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type"
_HL7 = "http://hl7.org/fhir/StructureDefinition/"


def reduced() -> bytes:
    """Return the text of the file, one type, rule or value set a line."""
    kept = sorted(_kept(), key=lambda one: str(one["id"]))
    rules: dict[str, Json] = {}
    types = {str(one["id"]): _type(one, rules) for one in kept}
    bound = sorted(
        {
            row["bind"][1]
            for one in types.values()
            for row in one["elements"]
            if "bind" in row and row["bind"][0] == "required"
        }
    )
    values = {url: listed for url in bound if (listed := _listed(url)) is not None}
    head = {"version": "4.0.1", "source": "package hl7.fhir.r4.core 4.0.1, CC0", "sha256": DIGEST}
    parts = [("rules", rules), ("values", values), ("types", types)]
    blocks = [f'"{name}":{{\n{_lines(block)}\n}}' for name, block in parts]
    text = orjson.dumps(head).decode()[:-1] + ",\n" + ",\n".join(blocks) + "}\n"
    return text.encode()


def _lines(block: Json) -> str:
    return ",\n".join(
        f"{orjson.dumps(key).decode()}:{orjson.dumps(block[key]).decode()}" for key in sorted(block)
    )


def _kept() -> Iterator[Json]:
    for path in sorted(package_folder().glob("StructureDefinition-*.json")):
        one = orjson.loads(path.read_bytes())
        if one.get("derivation") == "constraint" or one["kind"] == "logical":
            continue
        if one["kind"] != "resource" or one["id"] in RESOURCES:
            yield one


def _type(one: Json, rules: dict[str, Json]) -> Json:
    found: Json = {"kind": one["kind"], "base": one.get("baseDefinition", "").removeprefix(_HL7)}
    if one["abstract"]:
        found["abstract"] = True
    found["elements"] = [_element(e, rules) for e in one["snapshot"]["element"]]
    if one["kind"] == "primitive-type":
        found["regex"] = _regex(one)
    return found


def _regex(one: Json) -> str:
    for element in one["snapshot"]["element"]:
        for kind in element.get("type", ()):
            for extension in kind.get("extension", ()):
                if extension["url"] == _REGEX:
                    return str(extension["valueString"])
    return ""


def _element(element: Json, rules: dict[str, Json]) -> Json:
    found: Json = {"path": element["path"], "min": element["min"], "max": element["max"]}
    base = element["base"]
    if (base["path"], base["min"], base["max"]) != (found["path"], found["min"], found["max"]):
        found["base"] = [base["path"], base["min"], base["max"]]
    if "contentReference" in element:
        found["content"] = element["contentReference"].removeprefix("#")
    if "type" in element:
        found["type"] = [_kind(kind) for kind in element["type"]]
    binding = element.get("binding", {})
    if "valueSet" in binding:
        found["bind"] = [binding["strength"], binding["valueSet"]]
    found |= {flag: True for flag in ("isModifier", "isSummary") if element.get(flag)}
    keys = [_rule(rule, rules) for rule in element.get("constraint", ())]
    return {**found, "rules": keys} if keys else found


def _rule(rule: Json, rules: dict[str, Json]) -> str:
    key = str(rule["key"])
    row = {"severity": rule["severity"], "expression": rule["expression"]}
    if rules.setdefault(key, row) != row:
        raise ValueError(f"rule {key} has two expressions")
    return key


def _kind(kind: Json) -> list[Any]:
    code = kind["code"]
    for extension in kind.get("extension", ()):
        if extension["url"] == _TYPE:
            return [code, [], extension["valueUrl"]]
    targets = [url.removeprefix(_HL7) for url in kind.get("targetProfile", ())]
    return [code, targets] if targets else [code]


def _listed(url: str) -> dict[str, list[str]] | None:
    """Return the codes by system; ``None`` for a grammar or what the package does not list."""
    if by_url(url) is None or url.split("|")[0] in bindings.NOT_LISTED:
        return None
    found: dict[str, list[str]] = {}
    for system, code in sorted(bindings.expansion(url) or ()):
        found.setdefault(system, []).append(code)
    return found


if __name__ == "__main__":
    TARGET.write_bytes(reduced())
