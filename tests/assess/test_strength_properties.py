"""What must hold for everything worked out from strength, whatever was tested."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assess.motions import tables
from tests.assess.strengths import force, grade, patterns, worked

from brachium.assess.derived import Derived
from brachium.assess.tested import Whose
from brachium.exam.findings import Quantity, Strength
from brachium.tables.strength_rows import CORRECTED, DOMINANCE

OTHER = {"left": "right", "right": "left", "both": "both"}
# right minus left turns its sign in the mirror
SIGNED = {"force-side-difference", "grade-side-difference"}
BILLIONTH = Decimal("0.000000001")
QUICK = settings(deadline=None, max_examples=50)


@st.composite
def strength_tests(draw):
    """Some strength tests of the catalogue, each question at most once."""
    rows = draw(st.lists(st.sampled_from(list(tables().strength.values())), max_size=14))
    found = {}
    for row in rows:
        side = draw(st.sampled_from(["left", "right", "both"]))
        words = {
            "digit": draw(st.sampled_from(row.digits or (None,))),
            "limitedBy": draw(st.sampled_from([(), (), ("pain",), ("weakness",)])),
            "key": f"k{len(found)}",
        }
        if row.measure == "grade":
            value = draw(st.sampled_from(list(tables().scales[row.scale])))
            one = grade(row.joint, row.test, value, side, **words)
        else:
            trials = draw(st.lists(st.integers(0, 400), min_size=1, max_size=4))
            values = [Decimal(trial) / 10 for trial in trials]
            one = force(*values, test=row.test, joint=row.joint, side=side, **words)
        for place in ("left", "right") if side == "both" else (side,):
            found[row.joint, row.test, words["digit"], place] = one
    return list({one.key: one for one in found.values()}.values())


PEOPLE = st.builds(
    Whose,
    st.sampled_from(["male", "female", "other", "unknown"]),
    age := st.integers(5, 90),
    age,
    st.sampled_from(["right", "left", "ambidextrous", "unknown"]),
).map(lambda one: one._replace(oldest=one.youngest))


def bare(one: Derived) -> tuple:
    """A result without texts, and with leaf keys that do not depend on the side."""
    used = frozenset((use.leaf.split("/")[0], use.value) for use in one.used)
    return (
        *(one.name, one.joint, one.digit, one.side, one.qualifier, one.value, one.unit),
        *(one.comparator, one.interpretation, one.flagged, one.evidence),
        *(len(one.missing), used),
    )


def mirrored(one: Derived) -> Derived:
    turned = one.value is not None and one.name in SIGNED
    return one._replace(side=OTHER[one.side], value=-one.value if turned else one.value)


def sided(found) -> list[Derived]:
    """Leave out what is held against a published group: healthy sides are not mirror images.

    Nor is the correction, which the source makes for right-handed people alone.
    """
    skipped = {"force-z-score", "force-percentile", CORRECTED}
    return [one for one in found if one.name not in skipped]


@QUICK
@given(strength_tests(), PEOPLE)
def test_mirror_symmetry(findings, whose):
    swapped = [one.model_copy(update={"side": OTHER[one.side]}) for one in findings]
    other = whose._replace(dominant=OTHER.get(whose.dominant, whose.dominant))
    assert {bare(mirrored(one)) for one in sided(worked(findings, whose))} == {
        bare(one) for one in sided(worked(swapped, other))
    }


@QUICK
@given(strength_tests())
def test_mirror_symmetry_of_patterns(findings):
    swapped = [one.model_copy(update={"side": OTHER[one.side]}) for one in findings]
    here, there = patterns(findings), patterns(swapped)
    assert {OTHER[side] for side in here} == set(there)
    for side, pattern in here.items():
        # leaf keys of expanded findings name their side
        assert standings(pattern) == standings(there[OTHER[side]])


def standings(pattern) -> list[tuple]:
    return [
        (
            *(one.scheme, one.supplier, one.rank, len(one.explained), len(one.unexplained)),
            *(len(one.contradicting), len(one.partly)),
        )
        for one in pattern.accounts
    ]


@QUICK
@given(
    strength_tests().flatmap(lambda some: st.tuples(st.just(some), st.permutations(some))), PEOPLE
)
def test_order_of_findings_never_matters(both, whose):
    findings, shuffled = both
    assert set(worked(findings, whose)) == set(worked(list(shuffled), whose))
    assert patterns(findings) == patterns(list(shuffled))


def entered(one: Strength, unit: str) -> Strength:
    """The same forces in pounds or newtons, to a billionth."""
    per = {"lb": 1 / Decimal("0.45359237"), "N": Decimal("9.80665")}[unit]
    trials = tuple(
        Quantity(value=(trial.value * per).quantize(BILLIONTH), unit=unit) for trial in one.trials
    )
    return one.model_copy(update={"trials": trials})


@QUICK
@given(strength_tests(), PEOPLE, st.sampled_from(["lb", "N"]))
def test_unit_of_entry_never_matters(findings, whose, unit):
    def values(found: list[Strength]) -> set:
        made = worked(found, whose, memory=True)
        return {(*(bare(one)[:-1]), one.statement, one.missing) for one in made}

    other = [entered(one, unit) for one in findings]
    assert values(findings) == values(other)


@QUICK
@given(strength_tests(), PEOPLE, st.sampled_from(["left", "right"]))
def test_a_normal_finding_worsens_nothing_elsewhere(findings, whose, side):
    """A full grade takes no flag away and adds none, and makes no nerve fit that did not."""
    taken = {(one.joint, one.test) for one in findings}
    if ("elbow", "extension") in taken:
        return
    more = [*findings, grade("elbow", "extension", "5", side, key="normal")]
    before = {one.key: one for one in worked(findings, whose)}
    after = {one.key: one for one in worked(more, whose)}
    for key, one in before.items():
        assert (after[key].flagged, after[key].value or one.value) == (one.flagged, one.value)
    assert not [key for key, one in after.items() if one.flagged and key not in before]
    here, there = patterns(findings), patterns(more)
    assert set(here) == set(there)
    for place, pattern in here.items():
        unfit = {(a.scheme, a.supplier) for a in pattern.accounts if not a.fits}
        fit = {(a.scheme, a.supplier) for a in there[place].accounts if a.fits}
        assert not unfit & fit


@QUICK
@given(strength_tests(), PEOPLE, st.booleans())
def test_every_result_is_whole(findings, whose, memory):
    found = worked(findings, whose, memory=memory)
    assert len({one.key for one in found}) == len(found)
    for one in found:
        row = tables().computations[one.name]
        assert (one.value is None) == bool(one.missing)
        assert not (one.missing and (one.flagged or one.gradings or one.interpretation))
        assert (one.rule, one.unit) == (row.rule, row.unit)
        assert one.sources
        assert set(one.sources) <= set(tables().sources)
        assert memory or one.evidence != "memory"
        assert (one.evidence == "memory") == ("from memory" in one.statement)
        assert one.statement.endswith(".")
        assert ".." not in one.statement
        assert "E" not in str(one.value or 0)
        assert one.used or one.missing
    assert not {DOMINANCE, CORRECTED} & {one.name for one in found} or whose.dominant in OTHER
