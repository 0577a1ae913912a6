"""Problems as they are stored with an exam version."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import orjson

from brachium.problems import Problem

_FINDING = re.compile(r"^/findings/(\d+)(?=/|$)")


def written(problems: Iterable[Problem], places: Mapping[int, int] | None = None) -> bytes:
    """Return problems as a JSON array of objects, in the order they were found.

    ``places`` maps the index of a finding as posted to its index in the stored content; without it
    pointers stay as they are.
    """
    return orjson.dumps(
        [
            {
                "code": problem.code,
                "severity": problem.severity.value,
                "pointer": _placed(problem.pointer, places) if places else problem.pointer,
                "message": problem.message,
                "remedy": problem.remedy,
                "source": problem.source,
                "issueType": problem.issue_type,
            }
            for problem in problems
        ]
    )


def _placed(pointer: str, places: Mapping[int, int]) -> str:
    def moved(match: re.Match[str]) -> str:
        index = int(match[1])
        return f"/findings/{places.get(index, index)}"

    return _FINDING.sub(moved, pointer)
