"""How much of a protocol an exam covers, part by part and side by side.

A part counts as done when everything the protocol asks of it was answered with a result; a part
that was left out keeps its reason, and nothing is taken for granted: what nobody mentions is
missing. The percentage counts parts, not findings; parts that do not apply leave its denominator.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.measured import spot
from brachium.assess.wording import Topic, absence, row_label, topic
from brachium.tables.concepts import in_text
from brachium.tables.protocol_rows import EITHER

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brachium.assess.judgement import Judgement
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.protocol_rows import Protocol

RULE = "completeness/1.0"

DONE = "done"
PARTLY_DONE = "partly-done"
MISSING = "missing"
EITHER_SIDE = "either"
NOT_APPLICABLE = "not-applicable"
# of several things that stand in the way, the first of these names the part
_WORST_FIRST = (MISSING, "not-tested", "declined", "not-examined", NOT_APPLICABLE)

NORMAL = "normal"
ABNORMAL = "abnormal"
NOT_JUDGED = "not-judged"
_OUTSIDE = ("L", "H", "A")


class Cell(NamedTuple):
    """One part of a joint on one side (``side`` is either where one side is enough).

    ``state`` is done, partly-done, missing, or a reason of absence. ``outcome`` is empty without
    results, else abnormal (a sign is present, or a value is outside its reference), not-judged
    (some result has no reference, none is abnormal) or normal. ``reasons`` say what was left out
    and why, ``missing`` what nobody mentions; ``leaves`` are the keys of what was recorded.
    """

    joint: str
    part: str
    side: str
    state: str
    outcome: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    leaves: tuple[str, ...]


class Completeness(NamedTuple):
    """An exam held against ``protocol``.

    ``done`` of ``asked`` parts were done, ``not_applicable`` more do not apply and are not in
    ``asked``; ``percent`` has one decimal and is ``None`` when nothing is asked. ``beyond`` are
    the keys of findings of parts that the protocol does not ask for.
    """

    protocol: str
    label: str
    cells: tuple[Cell, ...]
    done: int
    asked: int
    not_applicable: int
    percent: Decimal | None
    beyond: tuple[str, ...]
    rule: str = RULE

    @property
    def statement(self) -> str:
        """The figures in words, the denominator among them."""
        share = "" if self.percent is None else f" ({self.percent:f} percent)"
        rest = ""
        if self.not_applicable:
            every = self.asked + self.not_applicable
            rest = f"; {self.not_applicable} of {every} parts do not apply and are not counted"
        return f"{self.label}: {self.done} of {self.asked} parts done{share}{rest}."


class _Entry(NamedTuple):
    """One thing that a protocol asks of a part; empty means any digit, any item."""

    digit: str
    item: str


_Told: TypeAlias = "tuple[Topic, Leaf]"


class _Answer(NamedTuple):
    state: str
    reasons: tuple[str, ...]


_NOTHING = _Answer(MISSING, ())
_RESULT = _Answer(DONE, ())


def covering(leaves: Iterable[Leaf], tables: Tables) -> str:
    """Return the protocol with the fewest joints that has all joints of the exam, or nothing.

    Of several with as few joints, the first of the table.
    """
    joints = {leaf.finding.joint for leaf in leaves}
    fitting = [
        (len(own), place, protocol)
        for place, (protocol, own) in enumerate(_joints(tables).items())
        if joints <= own
    ]
    return min(fitting)[2] if fitting else ""


def completeness(
    leaves: Sequence[Leaf], judged: Mapping[str, Judgement], tables: Tables, protocol: str = ""
) -> Completeness | None:
    """Hold an exam against a protocol: the named one, else the smallest that covers its joints.

    ``judged`` holds the judgements by leaf key (Assessment.ranges). Returns ``None`` when no
    protocol was named and none covers the exam. Raises ``KeyError`` for an unknown protocol.
    """
    name = protocol or covering(leaves, tables)
    if not name:
        return None
    rows = tables.protocols[name]
    recorded: dict[tuple[str, str, str], list[_Told]] = {}
    for leaf in leaves:
        about = topic(leaf)
        for side in ("left", "right") if leaf.side == "both" else (leaf.side,):
            recorded.setdefault((about.joint, about.part, side), []).append((about, leaf))
    cells = tuple(
        _cell(row, side, names, found, judged, tables)
        if (found := _of(recorded, row, side))
        else empty
        for row, side, names, empty in _asked(name, tables)
    )
    asked = {(row.joint, row.part) for row in rows}
    beyond = {
        leaf.key for key, some in recorded.items() if key[:2] not in asked for _, leaf in some
    }
    return _counted(name, rows[0].label, cells, tuple(sorted(beyond)))


def _of(
    recorded: Mapping[tuple[str, str, str], list[_Told]], row: Protocol, side: str
) -> list[_Told]:
    sides = ("left", "right") if side == EITHER_SIDE else (side,)
    found = [one for each in sides for one in recorded.get((row.joint, row.part, each), ())]
    return sorted(found, key=lambda one: one[1].key) if len(found) > 1 else found


def _counted(
    protocol: str, label: str, cells: tuple[Cell, ...], beyond: tuple[str, ...]
) -> Completeness:
    idle = sum(cell.state == NOT_APPLICABLE for cell in cells)
    done = sum(cell.state == DONE for cell in cells)
    asked = len(cells) - idle
    percent = (Decimal(100 * done) / asked).quantize(Decimal("0.1")) if asked else None
    return Completeness(protocol, label, cells, done, asked, idle, percent, beyond)


def _cell(
    row: Protocol,
    side: str,
    named: Mapping[_Entry, str],
    found: Sequence[_Told],
    judged: Mapping[str, Judgement],
    tables: Tables,
) -> Cell:
    own, whole = _sorted_out(found)
    answers = {entry: _answer(entry, own, whole, tables) for entry in named}
    return Cell(
        row.joint,
        row.part,
        side,
        _state([answer.state for answer in answers.values()]),
        _outcome([leaf for _, leaf in found], judged),
        tuple(dict.fromkeys(why for answer in answers.values() for why in answer.reasons)),
        tuple(named[entry] for entry, answer in answers.items() if answer.state == MISSING),
        tuple(dict.fromkeys(leaf.key for _, leaf in found)),
    )


def _sorted_out(found: Sequence[_Told]) -> tuple[Mapping[str, list[_Told]], list[_Told]]:
    """Return the findings by what they answer ("" is anything), and those of the whole part."""
    own: dict[str, list[_Told]] = {"": []}
    whole = []
    for one in found:
        about = one[0]
        if about.whole:
            whole.append(one)
        else:
            own.setdefault(about.site or about.item, []).append(one)
            own[""].append(one)
    return own, whole


def _answer(
    entry: _Entry, own: Mapping[str, list[_Told]], whole: Sequence[_Told], tables: Tables
) -> _Answer:
    """Answer one entry from its own findings, else from the part recorded as a whole."""
    some = _of_digit(entry.digit, own.get(entry.item, ())) or _of_digit(entry.digit, whole)
    if not some:
        return _NOTHING
    left_out = [
        (about, absent) for about, leaf in some if (absent := leaf.finding.absent) is not None
    ]
    if not left_out:
        return _RESULT
    reasons = tuple(
        f"{row_label(about, tables)}: {absence(absent, tables)}" for about, absent in left_out
    )
    if len(left_out) < len(some):
        return _Answer(DONE, reasons)
    return _Answer(_worst({absent.reason for _, absent in left_out}), reasons)


def _of_digit(digit: str, found: Sequence[_Told]) -> Sequence[_Told]:
    """Return what is about a digit, or about all of them; without a digit, everything."""
    return [one for one in found if one[0].digit in ("", digit)] if digit else found


def _state(states: Sequence[str]) -> str:
    apply = [state for state in states if state != NOT_APPLICABLE]
    if not apply:
        return NOT_APPLICABLE
    if DONE in apply:
        return PARTLY_DONE if any(state != DONE for state in apply) else DONE
    return _worst(apply)


def _worst(states: Iterable[str]) -> str:
    return min(states, key=_WORST_FIRST.index)


def _outcome(leaves: Iterable[Leaf], judged: Mapping[str, Judgement]) -> str:
    said = [_said(leaf, judged) for leaf in leaves if leaf.finding.absent is None]
    if not said:
        return ""
    if any(word in _OUTSIDE for word in said):
        return ABNORMAL
    return NOT_JUDGED if None in said else NORMAL


def _said(leaf: Leaf, judged: Mapping[str, Judgement]) -> str | None:
    # a part recorded at once has no other result than no abnormality
    if leaf.finding.kind == "part":
        return "N"
    judgement = judged.get(leaf.key)
    return None if judgement is None else judgement.interpretation


@lru_cache(maxsize=16)
def _joints(tables: Tables) -> Mapping[str, frozenset[str]]:
    return {
        protocol: frozenset(row.joint for row in rows)
        for protocol, rows in tables.protocols.items()
    }


@lru_cache(maxsize=64)
def _asked(
    protocol: str, tables: Tables
) -> tuple[tuple[Protocol, str, Mapping[_Entry, str], Cell], ...]:
    """Return every cell of a protocol: row, side, what is asked, and the cell if nobody answers."""
    return tuple(
        (row, side, names, Cell(row.joint, row.part, side, MISSING, "", (), missing, ()))
        for row in tables.protocols[protocol]
        for names in (_names(row, tables),)
        for missing in (tuple(names.values()),)
        for side in ((EITHER_SIDE,) if row.sides == EITHER else ("right", "left"))
    )


def _names(row: Protocol, tables: Tables) -> Mapping[_Entry, str]:
    """Return everything a row asks, each with its name: "middle finger flexion"."""
    return {
        _Entry(digit, item): _name(row, digit, item, tables)
        for digit in row.digits or ("",)
        for item in row.items or ("",)
    }


def _name(row: Protocol, digit: str, item: str, tables: Tables) -> str:
    where = spot(row.joint, digit, tables) if digit else ""
    return " ".join(word for word in (where, _item_name(row, item, tables)) if word) or row.part


def _item_name(row: Protocol, item: str, tables: Tables) -> str:
    if not item:
        return ""
    if row.part == "motion":
        return tables.motions[row.joint, item].phrase
    if row.part == "strength":
        return tables.strength[row.joint, item].phrase
    return in_text(tables.sites[row.joint, row.part, item].label)
