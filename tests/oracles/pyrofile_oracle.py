"""The pyrofile validator with HL7's core package, fed one resource at a time.

It reports rules it cannot judge as warnings; those are let through by name below, each with the
reason. Every other issue, of any severity but information, is a complaint.
"""

from __future__ import annotations

import contextlib
import io
from functools import cache

from pyrofile_validator import ValidationIssue, Validator
from pyrofile_validator.config import ValidatorConfig
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import ARCHIVE, Json, package_folder, plain

ORACLE = "pyrofile"

# (rule, what its path or message must contain) -> why it is let through.
FALSE_ALARMS = {
    ("invariant.dom-6", "text.`div`"): "a best practice that HL7 itself grades as a warning",
    (
        "modifierExtension.present",
        ".status",
    ): "takes a modifier element for a modifierExtension",
    ("profile.element.binding.extensible", "data-absent-reason"): "wants every coding in the set; "
    "R4 asks for one, and the second coding carries our own, finer reason",
    ("terminology.extensible", "data-absent-reason"): "the same, said twice",
    ("reference.unresolved", "local validation set"): "it sees one resource at a time; that every "
    "reference leads somewhere is a rule of its own (bundle_rules.dangling)",
    ("reference.external", "was not resolved locally"): "the same for absolute references",
    ("extension.unknown", "{canonical}/StructureDefinition/"): "our own extensions are in no HL7 "
    "package; their names are a rule of its own (bundle_rules.extensions)",
}


@cache
def _validator() -> Validator:
    settings = {
        "fhirVersion": "4.0.1",
        "localPackagePaths": [str(package_folder() / ARCHIVE)],
        "terminology": {"mode": "local"},
    }
    return Validator(ValidatorConfig.load_dict(settings))


def complaints(bundle: Json, canonical: str) -> list[Complaint]:
    """Judge every resource of a bundle on its own; ``canonical`` is the base of our own URLs."""
    found: list[Complaint] = []
    for number, entry in enumerate(bundle.get("entry", ())):
        if isinstance(entry.get("resource"), dict):
            found += _judge(entry["resource"], f"Bundle.entry[{number}].resource", canonical)
    return found


def _judge(resource: Json, where: str, canonical: str) -> list[Complaint]:
    with contextlib.redirect_stdout(io.StringIO()):
        report = _validator().validate_resource(plain(resource))
    return [
        Complaint(ORACLE, f"{where} {issue.path}", f"{issue.code}: {issue.message}")
        for issue in report.issues
        if issue.severity.value != "information" and not _is_false_alarm(issue, canonical)
    ]


def _is_false_alarm(issue: ValidationIssue, canonical: str) -> bool:
    said = f"{issue.path} {issue.message}"
    return any(
        issue.code == rule and part.replace("{canonical}", canonical) in said
        for rule, part in FALSE_ALARMS
    )
