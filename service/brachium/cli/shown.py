"""What the commands write, and the exit codes they end with."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from brachium.problems import Problem

OK = 0
FAULTY = 1
USAGE = 2


def show(line: str = "") -> None:
    """Write a line to standard output at once, so that progress is seen."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def complain(line: str) -> None:
    """Write a line to standard error."""
    sys.stderr.write(f"brachium: {line}\n")


def lines(problems: Iterable[Problem]) -> Iterable[str]:
    """Yield each problem in words: how bad, where, what, and the way out."""
    for problem in problems:
        place = problem.pointer or "the exam"
        yield f"{problem.severity.value}: {place}: {problem.message}"
        yield f"    {problem.remedy} [{problem.code}; {problem.source}]"
