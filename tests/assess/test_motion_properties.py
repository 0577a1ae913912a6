"""What must hold for everything worked out from motions, whatever was measured."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assess.motions import motion, tables, worked

from brachium.assess.derived import Derived
from brachium.exam.findings import Motion, Quantity

OTHER = {"left": "right", "right": "left", "both": "both"}


@st.composite
def motions(draw):
    """Some motions of the catalogue, each question at most once."""
    rows = draw(st.lists(st.sampled_from(list(tables().motions.values())), max_size=12))
    found = {}
    for row in rows:
        digits = row.digits or tables().joints[row.joint].digits or (None,)
        words = {
            "side": draw(st.sampled_from(["left", "right", "both"])),
            "mode": draw(st.sampled_from(row.modes)),
            "digit": draw(st.sampled_from(digits)),
            "armPosition": draw(st.sampled_from(row.arm_positions or (None,))),
        }
        if row.measure == "grade":
            value = draw(st.sampled_from(list(tables().scales[row.scale])))
        else:
            low = -20 if row.measure == "end" else 0
            value = draw(st.integers(low, 15 if row.measure == "distance" else 90))
        place = tuple(str(word) for word in (row.joint, row.motion, *words.values()))
        found[place] = motion(row.joint, row.motion, value, key=f"k{len(found)}", **words)
    return list(found.values())


def bare(one: Derived) -> tuple:
    """A result without texts, and with leaf keys that do not depend on the side."""
    used = frozenset((use.leaf.split("/")[0], use.value) for use in one.used)
    return (
        *(one.name, one.joint, one.digit, one.side, one.qualifier, one.value, one.unit),
        *(one.interpretation, one.flagged, one.gradings, one.evidence, len(one.missing), used),
    )


def mirrored(one: Derived) -> Derived:
    value = -one.value if one.side == "both" and one.value is not None else one.value
    return one._replace(side=OTHER[one.side], value=value)


@settings(deadline=None, max_examples=60)
@given(motions())
def test_mirror_symmetry(findings):
    swapped = [one.model_copy(update={"side": OTHER[one.side]}) for one in findings]
    assert {bare(mirrored(one)) for one in worked(findings)} == {bare(o) for o in worked(swapped)}


@settings(deadline=None, max_examples=60)
@given(motions().flatmap(lambda some: st.tuples(st.just(some), st.permutations(some))))
def test_order_of_findings_never_matters(both):
    findings, shuffled = both
    assert {one.key: one for one in worked(findings)}.keys() == {
        one.key for one in worked(list(shuffled))
    }
    assert {bare(one) for one in worked(findings)} == {bare(one) for one in worked(list(shuffled))}
    assert {o.statement for o in worked(findings)} == {o.statement for o in worked(list(shuffled))}


def in_millimetres(one: Motion) -> Motion:
    if one.distance is None:
        return one
    value = one.distance.value * 10
    return one.model_copy(update={"distance": Quantity(value=value, unit="mm")})


@settings(deadline=None, max_examples=40)
@given(motions())
def test_unit_of_entry_never_matters(findings):
    def values(found: list[Motion]) -> set:
        return {(one.key, one.value, one.flagged, one.missing) for one in worked(found)}

    assert values(findings) == values([in_millimetres(one) for one in findings])


@settings(deadline=None, max_examples=60)
@given(motions(), st.sampled_from(["left", "right"]))
def test_a_normal_finding_worsens_nothing_elsewhere(findings, side):
    normal = [
        motion("elbow", "extension", 0, side=side, mode="passive", key="n1"),
        motion("elbow", "flexion", 150, side=side, mode="passive", key="n2"),
        motion("hand", "fist", "full", side=side, mode="passive", key="n3"),
    ]
    taken = {(one.joint, one.motion, one.mode) for one in findings}
    more = [one for one in normal if (one.joint, one.motion, one.mode) not in taken]
    before = {
        one.key: one
        for one in worked(findings)
        if one.joint != "elbow" and one.name != "fist-closure"
    }
    after = {one.key: one for one in worked(findings + more)}
    assert {key: after[key] for key in before} == before


@settings(deadline=None, max_examples=60)
@given(motions())
def test_every_result_is_whole(findings):
    found = worked(findings)
    assert len({one.key for one in found}) == len(found)
    for one in found:
        row = tables().computations[one.name]
        assert (one.value is None) == bool(one.missing)
        assert not (one.missing and (one.flagged or one.gradings or one.interpretation))
        assert (one.rule, one.unit) == (row.rule, row.unit)
        assert one.sources
        assert set(one.sources) <= set(tables().sources)
        assert one.evidence in ("seen", "secondary", "own")
        assert one.statement.endswith(".")
        assert "E" not in str(one.value or Decimal(0))
