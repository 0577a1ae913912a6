"""What must hold for every trend, whatever was measured in however many exams."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assess.courses import course, day, seen, tables
from tests.assess.motions import motion

from brachium.exam.findings import Quantity, Strength
from brachium.exam.leaves import leaves_of

QUICK = settings(deadline=None, max_examples=40)
OTHER = {"left": "right", "right": "left"}
POUND = Decimal("0.45359237")  # kilograms, exact


def _motion(draw, key, row):
    digits = row.digits or tables().joints[row.joint].digits or (None,)
    methods = [one.method for one in tables().methods.values() if row.measure in one.measures]
    words = {
        "side": draw(st.sampled_from(["left", "right", "both"])),
        "mode": draw(st.sampled_from(row.modes)),
        "digit": digits[0],
        "armPosition": draw(st.sampled_from(row.arm_positions or (None,))),
        "method": draw(st.sampled_from([None, *methods])),
        "position": draw(st.sampled_from([None, "sitting", "supine"])),
    }
    if row.measure == "grade":
        value = draw(st.sampled_from(list(tables().scales[row.scale])))
    else:
        low = -20 if row.measure == "end" else 0
        value = draw(st.integers(low, 15 if row.measure == "distance" else 120))
    return motion(row.joint, row.motion, value, key=key, **words)


def _strength(draw, key):
    kilograms = draw(st.lists(st.integers(1, 60), min_size=1, max_size=3))
    trials = tuple(Quantity(value=POUND * 2 * one, unit="kg") for one in kilograms)
    side = draw(st.sampled_from(["left", "right"]))
    return Strength(key=key, kind="strength", joint="hand", test="grip", side=side, trials=trials)


@st.composite
def courses(draw):
    """One to five exams: few measures, so that they come again, and moments that may be equal."""
    rows = draw(st.lists(st.sampled_from(list(tables().motions.values())), min_size=1, max_size=3))
    visits = []
    for number in range(draw(st.integers(1, 5))):
        some = draw(st.lists(st.sampled_from(rows), max_size=4))
        findings = [_motion(draw, f"k{n}", row) for n, row in enumerate(some)]
        if draw(st.booleans()):
            findings.append(_strength(draw, "grip"))
        visit, _ = seen(
            number, {"kind": "part", "joint": "elbow", "part": "motion", "side": "both"}
        )
        visit = visit._replace(
            effective=day(draw(st.integers(0, 9))),
            examiner=("s", draw(st.sampled_from(["a", "b"]))),
            provisional=draw(st.booleans()),
        )
        visits.append((visit, tuple(findings)))
    return visits


def followed(visits):
    return course(
        *((visit, leaves_of(enumerate(findings), tables())) for visit, findings in visits)
    )


def bare(change):
    if change is None:
        return None
    words = (
        change.verdict,
        change.delta,
        change.unit,
        change.error,
        change.why,
        change.provisional,
    )
    return (*words, change.before.visit.exam, change.before.value, change.now.value)


def figures(found, *, mirrored=False):
    """Everything but texts and leaf keys, by measure."""
    result = {}
    for one in found.series:
        side = OTHER[one.matter.side] if mirrored else one.matter.side
        result[one.matter._replace(side=side), one.way] = (
            [
                (
                    point.taken.visit,
                    bare(point.since_previous),
                    bare(point.since_first),
                    bare(point.unlike),
                )
                for point in one.points
            ],
            [gap.visit for gap in one.gaps],
        )
    return result


@QUICK
@given(courses())
def test_mirror_symmetry(visits):
    swapped = [
        (
            visit,
            tuple(
                one.model_copy(update={"side": OTHER.get(one.side, one.side)}) for one in findings
            ),
        )
        for visit, findings in visits
    ]
    assert figures(followed(swapped), mirrored=True) == figures(followed(visits))


@QUICK
@given(courses().flatmap(lambda some: st.tuples(st.just(some), st.permutations(some))))
def test_order_of_posting_never_matters(both):
    visits, shuffled = both
    assert followed(shuffled) == followed(visits)


@QUICK
@given(courses(), st.randoms())
def test_order_of_findings_never_matters(visits, chance):
    turned = [(visit, tuple(chance.sample(findings, len(findings)))) for visit, findings in visits]
    assert followed(turned) == followed(visits)


def in_other_units(finding):
    if isinstance(finding, Strength):
        trials = tuple(Quantity(value=one.value / POUND, unit="lb") for one in finding.trials)
        return finding.model_copy(update={"trials": trials})
    if finding.distance is None:
        return finding
    distance = Quantity(value=finding.distance.value * 10, unit="mm")
    return finding.model_copy(update={"distance": distance})


@QUICK
@given(courses())
def test_unit_of_entry_never_matters(visits):
    other = [(visit, tuple(in_other_units(one) for one in findings)) for visit, findings in visits]
    assert figures(followed(other)) == figures(followed(visits))


@QUICK
@given(courses())
def test_time_runs_forwards_and_every_value_is_there_once(visits):
    found = followed(visits)
    places = {visit: place for place, visit in enumerate(found.visits)}
    told = 0
    for series in found.series:
        order = [places[one.taken.visit] for one in series.points]
        assert order == sorted(set(order))
        assert (series.points[:1] or [None])[0] is None or series.points[0].since_previous is None
        for before, point in zip(series.points, series.points[1:], strict=False):
            assert point.since_previous.before == before.taken
            assert point.since_first.before == series.points[0].taken
        for point in series.points:
            if point.unlike:
                assert places[point.unlike.before.visit] < places[point.taken.visit]
        told += len(series.points)
    gaps = {(gap.visit.exam, gap.finding) for one in found.series for gap in one.gaps}
    measured = sum(2 if one.side == "both" else 1 for _, some in visits for one in some)
    assert told + len(gaps) <= measured
    if not gaps:
        assert told == measured


@QUICK
@given(courses())
def test_every_change_explains_itself(visits):
    for series in followed(visits).series:
        for point in series.points:
            for change in (point.since_previous, point.since_first, point.unlike):
                if change is None:
                    continue
                assert (change.verdict == "not-comparable") == bool(change.why)
                assert change.sources
                assert set(change.sources) <= set(tables().sources)
                assert change.statement.endswith(f"(rule {change.rule}).")
                assert "E" not in str(change.delta)
                if change.verdict in ("improved", "worse"):
                    assert abs(change.now.value - change.before.value) >= change.error
                if change.verdict == "no-detectable-change":
                    assert abs(change.now.value - change.before.value) <= change.error


def test_gaps_of_one_exam_stand_in_one_order():
    """Two ways of one motion, each recorded twice: neither has a value, whichever comes first."""
    row = next(one for one in tables().motions.values() if one.measure == "angle")
    visit, _ = seen(0, {"kind": "part", "joint": "elbow", "part": "motion", "side": "both"})
    findings = [
        motion(row.joint, row.motion, 60, key=f"k{n}", position=position)
        for n, position in enumerate((None, "sitting", None, "sitting"))
    ]
    found = followed([(visit, findings)])
    assert [len(one.gaps) for one in found.series] == [2]
    for turned in (findings[::-1], findings[1:] + findings[:1]):
        assert followed([(visit, turned)]) == found
