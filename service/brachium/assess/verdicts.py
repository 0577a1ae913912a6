"""What a judgement says, in words: nothing, or where a value lies against its reference."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.assess.wording import unit_words

if TYPE_CHECKING:
    from brachium.assess.judgement import Judgement
    from brachium.tables.load import Tables

OUTSIDE = {"L": "below", "H": "above", "A": "outside"}


def verdict(judged: Judgement | None, tables: Tables, *, basis: bool = False) -> str:
    """Return ", below the reference used ..." for what stands out, and nothing for the rest.

    ``basis`` adds the publications and the rule. A sign that is there needs no verdict.
    """
    if judged is None or judged.interpretation not in OUTSIDE:
        return ""
    used = judged.reference
    told = f"; {', '.join(used.sources)}; rule {used.rule}" if basis else ""
    if used.low is not None and used.high is not None:
        label = unit_words(used.unit, tables)
        place = OUTSIDE[judged.interpretation]
        return f", {place} the reference used ({used.low:f} to {used.high:f} {label}{told})"
    if used.text:
        return f", abnormal (normal: {used.text}{told})"
    return ""
