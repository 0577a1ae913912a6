"""The filled-in form that an exam came in as, kept in step with the exam (PRV-03).

It is written anew from the exam at every version, also when the exam was changed by another way, so
that reading the form is reading the exam; its version is the exam's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.coding.response import TYPE, response, restated
from brachium.formats import lossless
from brachium.formats.head import parts
from brachium.records import Resource

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.coding.options import Stamp
    from brachium.exam.findings import Exam
    from brachium.intake.desk import Bench
    from brachium.records import ExamVersion, StoredResource


def first_form(desk: Bench, exam: Exam, stamp: Stamp) -> tuple[Resource, ...]:
    """Return the form of a new exam, if it came in as one."""
    return (response(exam, desk.tables, desk.coding.canonical, stamp),) if desk.form else ()


def next_form(
    desk: Bench, rows: Iterable[StoredResource], exam: Exam, stamp: Stamp
) -> tuple[Resource, ...]:
    """Return the form of a changed exam, if the version before had one."""
    if all(row.type != TYPE for row in rows):
        return ()
    return (response(exam, desk.tables, desk.coding.canonical, stamp),)


def withdrawn_form(
    desk: Bench, rows: Iterable[StoredResource], version: ExamVersion
) -> tuple[Resource, ...]:
    """Return the form of a withdrawn exam: its answers are kept as they were (COR-02)."""
    return tuple(_withdrawn(desk, row, version) for row in rows if row.type == TYPE)


def _withdrawn(desk: Bench, row: StoredResource, version: ExamVersion) -> Resource:
    content = lossless.parse(parts(row).body)
    canonical = desk.coding.canonical
    found = restated(content, canonical, version.status.value, version.recorded)
    return Resource(TYPE, row.id, lossless.write(found), version.version)
