"""What a rule of the motion and strength model is, and the case it looks at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from brachium.exam.leaves import Leaf, leaves_of
from brachium.problems import Severity

if TYPE_CHECKING:
    from brachium.exam.cells import Cells
    from brachium.exam.findings import Finding
    from brachium.tables.load import Tables
    from brachium.tables.rows import Limit

_MOST_REMEMBERED = 20_000
OWN = "own convention of the motion and strength model"


@dataclass(frozen=True, slots=True)
class ModelOptions:
    """What a site can set: grades with plus or minus, and conversion of units not in use."""

    plus_minus_grades: bool = True
    convert_units: bool = False


@dataclass(frozen=True, slots=True)
class Person:
    """What the rules need of the patient and the date; ``None`` where it was not readable.

    ``ages`` is the youngest and the oldest completed age that the dates allow.
    """

    effective: str | None = None
    birth_date: str | None = None
    sex: str | None = None
    dominant: str | None = None
    ages: tuple[int, int] | None = None


class Found(NamedTuple):
    """One place where a rule is broken.

    ``pointer`` is relative to the finding for rules about one finding, else relative to the exam.
    ``remedy`` and ``source`` replace the rule's own when not empty.
    """

    pointer: str
    message: str
    remedy: str = ""
    source: str = ""


Founds = Sequence[Found]
NOTHING: tuple[Found, ...] = ()


@dataclass(slots=True)
class Memory:
    """What was already worked out for one set of tables and options; never about a patient.

    ``silent`` holds signatures of findings, with sex and ages, about which no rule had anything to
    say; ``limits`` the limits that apply to a combination of words, sex and ages. Rules are pure,
    so what is remembered is what they would say again.
    """

    silent: set[tuple[Any, ...]] = field(default_factory=set)
    limits: dict[tuple[Any, ...], tuple[Limit, ...]] = field(default_factory=dict)

    def keep(self, seen: tuple[Any, ...]) -> None:
        """Remember a signature; the oldest knowledge goes when there is too much of it."""
        if len(self.silent) >= _MOST_REMEMBERED:
            self.silent.clear()
            self.limits.clear()
        self.silent.add(seen)


@dataclass(frozen=True)
class Case:
    """One exam, or the readable part of one, in front of the rules.

    ``findings`` pairs every finding with its index in the posted array.
    """

    tables: Tables
    options: ModelOptions
    person: Person
    findings: tuple[tuple[int, Finding], ...]
    memory: Memory = field(default_factory=Memory)

    @cached_property
    def leaves(self) -> tuple[Leaf, ...]:
        """Every finding per side."""
        return leaves_of(self.findings, self.tables)

    @cached_property
    def cells(self) -> Cells:
        """The leaves sorted by what they say, for rules that compare."""
        from brachium.exam.cells import gather

        return gather(self.leaves, self.tables)


def once(found: Founds) -> Founds:
    """Keep the first of several findings of a rule at one place."""
    first: dict[str, Found] = {}
    for one in found:
        first.setdefault(one.pointer, one)
    return list(first.values())


Check = Callable[..., Founds]
Scope = Literal["finding", "exam"]
EVERY_KIND = ("inspection", "palpation", "motion", "strength", "part")
SIGN_KINDS = ("inspection", "palpation")


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the model.

    ``scope`` is ``finding`` (``check(case, finding)`` looks at that finding, at sex and ages, and
    at nothing else) or ``exam`` (``check(case)`` compares findings or looks at the head).
    ``kinds`` are the finding kinds it looks at. ``reason`` says why the rule exists.
    """

    code: str
    title: str
    severity: Severity
    issue_type: str
    source: str
    reason: str
    remedy: str
    scope: Scope
    check: Check
    kinds: tuple[str, ...] = EVERY_KIND


def across(
    code: str, title: str, severity: Severity, check: Check, source: str, reason: str, remedy: str
) -> Rule:
    """Return a rule about a whole exam that compares what its findings say."""
    return Rule(code, title, severity, "business-rule", source, reason, remedy, "exam", check)
