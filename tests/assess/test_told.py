"""What an answer tells, how published values are said to fit, and accounts read back from XHTML."""

from __future__ import annotations

import orjson
import pytest
from tests.examples.golden import EXAMS

from brachium.assess.assessment import assess, person_of
from brachium.assess.fitting import fittings
from brachium.assess.narrative import Narrative, Section, narrate
from brachium.assess.narrative_forms import plain_text, xhtml
from brachium.assess.narrative_joints import Row
from brachium.assess.narrative_reading import account_of
from brachium.assess.options import AssessOptions
from brachium.assess.reference import reference
from brachium.assess.told import told
from brachium.exam.findings import Motion
from brachium.exam.leaves import leaves
from brachium.exam.reading import examine
from brachium.exam.rule import ModelOptions
from brachium.tables.load import load

TABLES = load()
every_example = pytest.mark.parametrize("path", EXAMS, ids=lambda path: path.stem)


def judged(path):
    exam = examine(path.read_bytes(), TABLES, ModelOptions()).exam
    found = leaves(exam, TABLES)
    return exam, found, assess(exam, found, TABLES)


@every_example
def test_every_entry_has_a_key_of_its_own_and_names_findings_of_the_exam(path):
    _, found, assessment = judged(path)
    entries = orjson.loads(told(found, assessment, TABLES))["judged"]
    assert len({(one["kind"], one["key"]) for one in entries}) == len(entries)
    known = {leaf.key for leaf in found}
    assert {used["finding"] for one in entries for used in one["used"]} <= known
    assert {source for one in entries for source in one["sources"]} <= {
        *TABLES.sources,
        "HL7 v3-ObservationInterpretation",
    }


@every_example
def test_a_missing_value_is_null_and_nothing_else_is(path):
    _, found, assessment = judged(path)
    for one in orjson.loads(told(found, assessment, TABLES))["judged"]:
        if one["kind"] == "computed":
            assert (one["value"] is None) is bool(one.get("missing"))


@pytest.mark.parametrize("memory", [False, True])
@every_example
def test_what_is_said_to_fit_is_what_the_judgement_used(path, memory):
    exam, found, _ = judged(path)
    person, options = person_of(exam), AssessOptions(memory)
    for leaf in found:
        finding = leaf.finding
        if not isinstance(finding, Motion):
            continue
        fits = [row for row, against in fittings(finding, person, TABLES, options) if not against]
        arm = finding.arm_position or ""
        used = reference(
            finding.joint, finding.motion, arm, finding.mode, *person, TABLES, memory=memory
        )
        assert (used is not None) is bool(fits)
        if used is not None:
            assert {row.source for row in fits} & set(used.sources)


@every_example
def test_nar_01_an_account_survives_its_xhtml(path):
    exam, found, assessment = judged(path)
    account = narrate(
        exam,
        found,
        assessment,
        TABLES,
        derived=assessment.computed,
        prompts=assessment.prompts,
        patterns=assessment.patterns,
        completeness=assessment.completeness,
        first=("Changed <twice> & more.",),
    )
    assert account_of(xhtml(account)) == account
    assert plain_text(account_of(xhtml(account))) == plain_text(account)


def test_an_account_with_difficult_words_survives_its_xhtml():
    lines = ("\u201c<p>a & b</p>\u201d", "line\r\nend", "  spaces  ")
    rows = (Row("A", "<td>", "&amp;"), Row("B", both="on both"))
    account = Narrative(
        "T", (Section("", ("first",)), Section("S", lines, rows), Section("", ("z",)))
    )
    assert account_of(xhtml(account)) == account


def test_a_notice_before_the_title_is_read_before_all_else():
    account = Narrative("T", (Section("", ("opening",)),))
    div = xhtml(account).replace(">", "><p>withdrawn</p>", 1)
    assert account_of(div).sections[0].lines == ("withdrawn", "opening")
