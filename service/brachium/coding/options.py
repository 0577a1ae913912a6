"""What steers coding, and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brachium.problems import Problem
    from brachium.records import Resource


@dataclass(frozen=True, slots=True)
class CodingOptions:
    """How this service codes.

    ``canonical`` is the base of our own URLs, without a slash at the end; ``service`` the software
    version. ``side`` says where the side goes besides the words and the laterality extension:
    ``code`` adds LOINC codes with a side, ``site`` side-specific body structures, ``both`` both.
    ``snomed`` off leaves out every SNOMED CT coding (TRM-05); ``unverified`` off withholds
    standard codes that the tables do not call verified.
    """

    canonical: str
    service: str
    side: Literal["both", "site", "code"] = "both"
    snomed: bool = True
    unverified: bool = True


@dataclass(frozen=True, slots=True)
class Stamp:
    """What the intake knows about the exam version that is being coded.

    ``recorded`` is a FHIR instant; ``statuses`` holds Observation statuses by leaf key or derived
    key (missing: final, or preliminary in a preliminary report); ``versions`` the version of each
    resource by id (missing: ``version``, the exam's); ``changed`` the ids that got a new version
    (``None``: all of them); ``reason`` is compulsory for update and nullify.
    """

    recorded: str
    version: int = 1
    report_status: str = "final"
    statuses: Mapping[str, str] = field(default_factory=dict)
    reason: str = ""
    activity: Literal["create", "update", "nullify"] = "create"
    versions: Mapping[str, int] = field(default_factory=dict)
    changed: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Encoded:
    """The coded resources, parties first and the report last, and what to know about the codes."""

    resources: tuple[Resource, ...]
    problems: tuple[Problem, ...]
