"""Active against passive: does the joint not go farther, or does the muscle not take it there?

Passive full and active short is a lag (tendon, nerve, muscle or pain); passive short as well is a
contracture. Both words are used only beyond what measuring alone can make (errors.csv) for the
motion, its two modes, the instruments and one examiner, which is this service's own convention, and
contracture only for an extension that ends straight, by what it falls
short of straight. For other motions a passive angle below its reference is said, and no more: a
published mean does not make a joint stiff.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Grading, Used
from brachium.assess.errors import SAME, WITHIN_EXAM, Two, allowance
from brachium.assess.measured import Got, Subject, got, named, sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.options import MEMORY, AssessOptions
from brachium.tables.computation_rows import LAG

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.errors import Allowance
    from brachium.assess.judgement import Judgement
    from brachium.assess.measured import Moved
    from brachium.tables.load import Tables

_SCHEME = "lag or contracture"
_MODES = ("active", "passive")
_BELOW = "L"
_PUBLISHED = AssessOptions()


class _Pair(NamedTuple):
    subject: Subject
    motion: str
    active: Got
    passive: Got
    ends: bool

    @property
    def used(self) -> tuple[Used, ...]:
        return tuple(one.used for one in (self.active, self.passive) if one.used)

    @property
    def missing(self) -> tuple[str, ...]:
        return tuple(one.missing for one in (self.active, self.passive) if one.missing)


def lags_of(
    groups: Moved,
    judged: Mapping[str, Judgement],
    tables: Tables,
    options: AssessOptions = _PUBLISHED,
) -> tuple[Derived, ...]:
    """Compare every motion that the exam has in both modes; ``judged`` is by leaf key."""
    return tuple(_derived(pair, judged, tables, options) for pair in _pairs(groups, tables))


def _pairs(groups: Moved, tables: Tables) -> Iterable[_Pair]:
    active, passive = _MODES
    for subject, motions in groups.items():
        other = subject._replace(mode=passive)
        if subject.mode != active or other not in groups:
            continue
        for motion in motions:
            measure = tables.motions[subject.joint, motion].measure
            if motion not in groups[other] or measure not in ("angle", "end"):
                continue
            pair = _Pair(
                subject,
                motion,
                got(groups, subject, motion, tables),
                got(groups, other, motion, tables),
                measure == "end",
            )
            if pair.used:
                yield pair


def _derived(
    pair: _Pair, judged: Mapping[str, Judgement], tables: Tables, options: AssessOptions
) -> Derived:
    row = tables.computations[LAG]
    methods = (pair.active.method, pair.passive.method)
    two = Two(pair.subject.joint, pair.motion, _MODES, methods, SAME, WITHIN_EXAM)
    error = allowance(two, tables, memory=options.memory_references)
    what = named(pair.subject, pair.motion, tables).rpartition(",")[0]
    value, words, text = _compared(pair, judged, error)
    return Derived(
        name=LAG,
        rule=row.rule,
        joint=pair.subject.joint,
        digit=pair.subject.digit,
        side=pair.subject.side,
        qualifier="-".join(word for word in (pair.motion, pair.subject.arm) if word),
        statement=sentence(f"{what}: {text}"),
        sources=(row.source, *(() if error is None else (error.source,))),
        evidence=MEMORY if error and error.evidence == MEMORY else row.evidence,
        used=pair.used,
        value=value,
        unit=row.unit,
        flagged=bool(words),
        gradings=(Grading(_SCHEME, " and ".join(words), row.source),) if words else (),
        missing=pair.missing,
    )


def _compared(
    pair: _Pair, judged: Mapping[str, Judgement], error: Allowance | None
) -> tuple[Decimal | None, list[str], str]:
    """Return the lag in degrees, the words for it, and all of it as text."""
    active, passive = pair.active.value, pair.passive.value
    if active is None or passive is None:
        return None, [], f"lag not worked out; {'; '.join(pair.missing)}"
    lag = _deficit(active) - _deficit(passive) if pair.ends else passive - active
    words = []
    # without a measurement error nobody can say what is beyond it
    if error is not None and lag > error.value:
        words.append("lag")
    if error is not None and pair.ends and passive > error.value:
        words.append("contracture")
    seen = "; ".join(
        f"{mode} {one.used.value}"
        for mode, one in zip(_MODES, (pair.active, pair.passive), strict=True)
        if one.used
    )
    text = f"{seen}; {_meaning(lag, words, error)}"
    if not pair.ends and _below(pair, judged):
        text += "; the passive angle is below its reference as well"
    return tidy(lag), words, text


def _deficit(end: Decimal) -> Decimal:
    """What an end of extension falls short of straight; beyond straight is no bonus."""
    return max(Decimal(0), end)


def _below(pair: _Pair, judged: Mapping[str, Judgement]) -> bool:
    judgement = judged.get(pair.passive.used.leaf) if pair.passive.used else None
    return judgement is not None and judgement.interpretation == _BELOW


def _meaning(lag: Decimal, words: list[str], error: Allowance | None) -> str:
    if lag < 0:
        text = f"passive falls short of active by {plain(-lag)} deg, which contradicts itself"
    elif lag:
        text = f"active falls short of passive by {plain(lag)} deg"
    else:
        text = "active falls as little short as passive"
    if error is None:
        return f"{text}; no measurement error is known for the joint, so no word for it"
    limit = f"measurement error {plain(error.value)} deg ({error.text})"
    meant = f"consistent with {' and '.join(words)}" if words else "no lag and no contracture"
    return f"{text}; {meant} beyond {limit}"
