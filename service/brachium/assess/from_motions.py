"""Everything that is worked out from motions alone, with the motions grouped once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.assess.arcs import arcs_of
from brachium.assess.chains import chains_of
from brachium.assess.lag import lags_of
from brachium.assess.measured import moved
from brachium.assess.ratios import ratios_of
from brachium.assess.reaches import reaches_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.derived import Derived
    from brachium.assess.judgement import Judgement
    from brachium.assess.measured import Moved
    from brachium.assess.options import AssessOptions
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables


def from_motions(
    leaves: Iterable[Leaf],
    judged: Mapping[str, Judgement],
    tables: Tables,
    options: AssessOptions,
    motions: Moved | None = None,
) -> tuple[Derived, ...]:
    """Return arcs, windows, lags, sums of digits, reaches and ratios; ``judged`` is by leaf key.

    ``motions`` spares the grouping where the caller has it already.
    """
    groups = moved(leaves, tables) if motions is None else motions
    return (
        *arcs_of(groups, tables),
        *lags_of(groups, judged, tables, options),
        *chains_of(groups, tables, options),
        *reaches_of(groups, tables),
        *ratios_of(groups, tables),
    )
