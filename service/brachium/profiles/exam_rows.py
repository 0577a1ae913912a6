"""What the report, the bundles and everybody named in an exam have to hold."""

from __future__ import annotations

from brachium.coding.fhir import OwnUrls
from brachium.profiles.finding_rules import ONE_REPORT
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

REPORT, COMPOSITION, BUNDLE, PROVENANCE = "DiagnosticReport", "Composition", "Bundle", "Provenance"
BUNDLES = ("collection", "transaction", "document")
PARTIES = {
    "Patient": "The person examined: no more than the exam states.",
    "Practitioner": "The examiner, by identifier.",
    "Organization": "The facility, by identifier.",
}


def exam(canonical: str) -> tuple[Profile, ...]:
    """Return the profiles of what an exam is made of besides its findings."""
    urls = OwnUrls(canonical)
    values = f"{canonical}/ValueSet"
    words = "The report of an exam: the envelope of its panels."
    return (
        Profile("arm-exam-report", "Report of an exam", words, REPORT, _report(urls, values)),
        *(
            Profile(
                f"arm-exam-{name.lower()}", f"{name} of an exam", told, name, _party(name, urls)
            )
            for name, told in PARTIES.items()
        ),
        Profile(
            "arm-exam-provenance",
            "Provenance of an exam version",
            "Who found, what assembled, and from which payload.",
            PROVENANCE,
            _provenance(),
        ),
        Profile(
            "arm-exam-composition",
            "Composition of an exam document",
            "The exam in words, section by section.",
            COMPOSITION,
            _composition(urls, values),
        ),
        *(
            Profile(
                f"arm-exam-{kind}",
                f"Exam as a {kind}",
                f"A Bundle of type {kind} that holds one version of an exam.",
                BUNDLE,
                _bundle(kind),
            )
            for kind in BUNDLES
        ),
    )


def _report(urls: OwnUrls, values: str) -> tuple[Row, ...]:
    own = urls.definition
    told = "The exam has one code of ours."
    return joined(
        needed(f"{REPORT}.text"),
        extensions(
            REPORT,
            ("examNote", own("exam-note"), 0, "1"),
            ("examStatus", own("exam-status"), 0, "1"),
            ("notExamined", own("not-examined"), 0, "*"),
        ),
        needed(f"{REPORT}.identifier", f"{REPORT}.identifier.system", f"{REPORT}.identifier.value"),
        (Row(f"{REPORT}.category", 1, "*"),),
        coded(f"{REPORT}.code", "own", urls.concepts, f"{values}/arm-exam-report", told),
        (
            Row(f"{REPORT}.subject", 1, "1", refers("Patient")),
            Row(f"{REPORT}.effective[x]", 1, "1", kinds("dateTime")),
        ),
        needed(f"{REPORT}.issued"),
        (
            Row(f"{REPORT}.performer", 1, "*", refers("Practitioner", "Organization")),
            Row(f"{REPORT}.result", 0, "*", refers("Observation"), words="The panels."),
        ),
        needed(f"{REPORT}.conclusion"),
    )


def _party(name: str, urls: OwnUrls) -> tuple[Row, ...]:
    one = (
        Row(f"{name}.identifier", 1),
        Row(f"{name}.identifier.system", 1),
        Row(f"{name}.identifier.value", 1),
    )
    if name != "Patient":
        return one
    hand = ("dominantHand", urls.definition("dominant-hand"), 1, "1")
    return joined(extensions(name, hand), one, needed(f"{name}.gender", f"{name}.birthDate"))


def _provenance() -> tuple[Row, ...]:
    return (
        Row(f"{PROVENANCE}.occurred[x]", 1, "1", kinds("dateTime")),
        *needed(f"{PROVENANCE}.activity"),
        Row(f"{PROVENANCE}.agent", 2, words="The author, and the service that assembled."),
        Row(f"{PROVENANCE}.agent.type", 1),
        Row(f"{PROVENANCE}.entity", 1, words="The payload, and what was revised."),
    )


def _composition(urls: OwnUrls, values: str) -> tuple[Row, ...]:
    words = "The exam has one code of ours."
    return joined(
        needed(f"{COMPOSITION}.identifier"),
        coded(f"{COMPOSITION}.type", "own", urls.concepts, f"{values}/arm-exam-report", words),
        (Row(f"{COMPOSITION}.subject", 1, "1", refers("Patient")),),
        (Row(f"{COMPOSITION}.section", 1),),
        needed(f"{COMPOSITION}.section.title", f"{COMPOSITION}.section.text"),
    )


def _bundle(kind: str) -> tuple[Row, ...]:
    last = needed(f"{BUNDLE}.entry.request") if kind == "transaction" else ()
    return (
        Row(BUNDLE, rules=(ONE_REPORT,)),
        *needed(f"{BUNDLE}.identifier"),
        Row(f"{BUNDLE}.type", 1, set=("fixedCode", kind)),
        *needed(f"{BUNDLE}.timestamp"),
        *none(f"{BUNDLE}.total"),
        Row(f"{BUNDLE}.entry", 1),
        *needed(f"{BUNDLE}.entry.fullUrl", f"{BUNDLE}.entry.resource"),
        *last,
    )


def own_extensions(canonical: str) -> tuple[Profile, ...]:
    """Return the definitions of every extension that coding writes."""
    hands = f"{canonical}/ValueSet/arm-exam-dominant"
    statuses = "http://hl7.org/fhir/ValueSet/diagnostic-report-status|4.0.1"
    return (
        _simple(canonical, "dominant-hand", "Dominant hand", "CodeableConcept", "Patient", hands),
        _simple(canonical, "exam-note", "Note about the whole exam", "string", REPORT),
        _simple(canonical, "exam-status", "Status as posted", "code", REPORT, statuses),
        _simple(
            canonical,
            "method-not-stated",
            "The method that goes out is the usual one: the examiner stated none",
            "boolean",
            "Observation.method",
        ),
        _not_examined(canonical),
    )


def _simple(
    canonical: str, name: str, title: str, kind: str, context: str, values: str = ""
) -> Profile:
    url = OwnUrls(canonical).definition(name)
    rows = (
        *none("Extension.extension"),
        Row("Extension.url", set=("fixedUri", url)),
        Row("Extension.value[x]", 1, "1", kinds(kind), values=values),
    )
    contexts = (context, "QuestionnaireResponse") if name == "exam-status" else (context,)
    return Profile(name, title, f"{title}.", "Extension", rows, contexts)


def _not_examined(canonical: str) -> Profile:
    name, title = "not-examined", "Entry that was not examined"
    words = "A finding that has no Observation, word by word: the name of each member and its word."
    rows = (
        Row("Extension.extension", 1, "*"),
        *none("Extension.extension.extension"),
        Row("Extension.extension.value[x]", 1, "1", kinds("string")),
        Row("Extension.url", set=("fixedUri", OwnUrls(canonical).definition(name))),
        *none("Extension.value[x]"),
    )
    return Profile(name, title, words, "Extension", rows, (REPORT,))
