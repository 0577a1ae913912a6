"""One row of the table of codes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Listed:
    """One code that can appear in an answer, and what it means."""

    code: str
    severity: str
    title: str
    reason: str
    remedy: str
    source: str
