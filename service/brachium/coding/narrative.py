"""The report in words: a conclusion, and a narrative that is clinically safe alone (OBS-18).

The account itself is made by :mod:`brachium.assess.narrative`; here it learns what became of the
exam version it stands in, which must be read before all else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.assess import narrative
from brachium.assess.narrative_forms import xhtml

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brachium.assess.assessment import Assessment
    from brachium.coding.options import Stamp
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

_IN_ERROR = "entered-in-error"


class Account(NamedTuple):
    """The words of a report: DiagnosticReport.conclusion and the div of its text."""

    conclusion: str
    div: str


def account(
    exam: Exam, leaves: Sequence[Leaf], assessment: Assessment, tables: Tables, stamp: Stamp
) -> Account:
    """Return the words of a report; every finding of every side is in them."""
    told = narrative.narrate(
        exam,
        leaves,
        assessment,
        tables,
        derived=assessment.computed,
        prompts=assessment.prompts,
        patterns=assessment.patterns,
        completeness=assessment.completeness,
        first=_first(stamp),
    )
    if stamp.report_status == _IN_ERROR:
        return Account(" ".join(_first(stamp)), xhtml(told))
    return Account(narrative.conclusion(told), xhtml(told))


def _first(stamp: Stamp) -> tuple[str, ...]:
    if stamp.report_status == _IN_ERROR:
        return (f"This examination was withdrawn and must not be used. Reason: {stamp.reason}",)
    return (f"Changed ({stamp.report_status}). Reason: {stamp.reason}",) if stamp.reason else ()
