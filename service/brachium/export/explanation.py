"""The whole chain behind one finding, from what was posted to the codes that went out.

What was judged and worked out is read from what was stored with the exam version. Which published
values fit is shown with the tables that are loaded now; when they are of another edition than those
of the exam, the explanation says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import jiter
import orjson

from brachium.assess.assessment import judged as judgements
from brachium.assess.assessment import person_of
from brachium.assess.errors import error_of, errors_about
from brachium.assess.fitting import fittings
from brachium.assess.judgement import judge
from brachium.assess.sides import side_differences
from brachium.assess.told import of_difference, of_judgement
from brachium.coding.identity import Ids
from brachium.coding.jsontext import fragment
from brachium.exam.findings import Exam, Motion
from brachium.exam.leaves import leaves
from brachium.exam.model import RULES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brachium.assess.judgement import Person
    from brachium.assess.options import AssessOptions
    from brachium.exam.leaves import Leaf
    from brachium.formats.codings import CodingRow
    from brachium.records import ExamVersion
    from brachium.tables.load import Tables

Json = dict[str, Any]


def explanation(
    stored: ExamVersion,
    key: str,
    codings: Iterable[CodingRow],
    tables: Tables,
    options: AssessOptions,
) -> bytes | None:
    """Return the chain behind the finding with a key as JSON text; ``None`` when there is none.

    ``codings`` are those of the exam version, with their sources.
    """
    content = jiter.from_json(stored.content, float_mode="decimal")
    exam = Exam.model_validate(content)
    index = next((n for n, one in enumerate(exam.findings) if one.key == key), None)
    if index is None:
        return None
    every = leaves(exam, tables)
    own = [leaf for leaf in every if leaf.index == index]
    chosen = _Chosen(person_of(exam), tables, options)
    judged = [*orjson.loads(stored.assessment)["judged"], *_untold(every, chosen)]
    rows = list(codings)
    told: Json = {
        "exam": stored.id,
        "version": stored.version,
        "status": stored.status.value,
        "edition": stored.edition,
        "posted": content["findings"][index],
        "rules": _rules(exam.findings[index].kind),
        "problems": _problems(stored, index),
        "sides": [_side(stored, leaf, judged, rows, chosen) for leaf in own],
    }
    if stored.edition != tables.edition:
        told["caution"] = (
            f"The published values are shown from edition {tables.edition} of the tables; the exam "
            f"was judged with edition {stored.edition}."
        )
    return orjson.dumps(told, default=fragment)


def _untold(every: Sequence[Leaf], chosen: _Chosen) -> list[Json]:
    """Return the differences between the sides that no answer tells, because they are small."""
    tables = chosen.tables
    by_key = {leaf.key: leaf for leaf in every}
    found = side_differences(every, judgements(every, *chosen), tables, chosen.options)
    return [of_difference(one, by_key, tables) for one in found if not one.is_told]


def _rules(kind: str) -> list[Json]:
    """Return every rule that looks at a finding of this kind, alone or beside others."""
    return [
        {"code": rule.code, "title": rule.title, "scope": rule.scope, "source": rule.source}
        for rule in RULES
        if kind in rule.kinds
    ]


def _problems(stored: ExamVersion, index: int) -> list[Json]:
    place = f"/findings/{index}"
    return [
        one
        for one in orjson.loads(stored.problems)
        if one["pointer"] == place or one["pointer"].startswith(f"{place}/")
    ]


class _Chosen(NamedTuple):
    """What decides which published values fit."""

    person: Person
    tables: Tables
    options: AssessOptions


def _side(
    stored: ExamVersion,
    leaf: Leaf,
    judged: Sequence[Json],
    rows: Iterable[CodingRow],
    chosen: _Chosen,
) -> Json:
    tables = chosen.tables
    judgement = judge(leaf, *chosen)
    own = [entry for entry in judged if any(one["finding"] == leaf.key for one in entry["used"])]
    resource = f"Observation/{Ids(stored.id).of(f'Observation/{leaf.key}')}"
    return {
        "key": leaf.key,
        "side": leaf.side,
        "observation": resource,
        "judgement": None if judgement is None else of_judgement(leaf, judgement, tables),
        "published": _published(leaf, chosen),
        "measurementError": _error(leaf, chosen),
        "measurementErrors": _errors(leaf, tables),
        "usedIn": [entry for entry in own if entry["kind"] != "range"],
        "codes": [_code(row) for row in rows if row.resource.startswith(f"{resource}/")],
    }


def _published(leaf: Leaf, chosen: _Chosen) -> list[Json]:
    return [
        {
            "statistic": row.statistic,
            "value": row.value,
            "sd": row.sd,
            "n": row.n,
            "mode": row.mode,
            "sex": row.sex,
            "ageFrom": row.age_from,
            "ageTo": row.age_to,
            "source": row.source,
            "citation": chosen.tables.sources[row.source].citation,
            "evidence": row.evidence,
            "fits": not against,
            "against": against,
        }
        for row, against in fittings(leaf.finding, *chosen)
    ]


def _error(leaf: Leaf, chosen: _Chosen) -> Json | None:
    """Return the error that the reference was widened by."""
    if not isinstance(leaf.finding, Motion):
        return None
    memory = chosen.options.memory_references
    row = error_of(leaf.finding.joint, chosen.tables, memory=memory)
    if row is None:
        return None
    return {
        "value": row.value,
        "unit": "deg",
        "situation": row.situation,
        "source": row.source,
        "evidence": row.evidence,
    }


def _errors(leaf: Leaf, tables: Tables) -> list[Json]:
    """Return every row about the error of this motion, also those that decide nothing."""
    finding = leaf.finding
    if not isinstance(finding, Motion):
        return []
    return [
        {
            "value": row.value,
            "unit": "deg",
            "statistic": row.statistic,
            "printed": row.printed,
            "mode": row.mode or "any",
            "methods": row.methods,
            "situation": row.situation,
            "note": row.note,
            "source": row.source,
            "citation": tables.sources[row.source].citation,
            "evidence": row.evidence,
        }
        for row in errors_about(finding.joint, finding.motion, finding.mode, tables)
    ]


def _code(row: CodingRow) -> Json:
    return {
        "path": row.path,
        "system": row.system,
        "code": row.code,
        "display": row.display,
        "verified": row.verified,
        "source": row.source,
    }
