"""Index rows made of search values, compared with the plain way of saying it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from brachium.records import SearchValue
from brachium.store.runs import runs
from brachium.store.terms import rows

VALUES = st.builds(
    SearchValue,
    st.sampled_from(["code", "date", "value-quantity", "x"]),
    st.sampled_from(["a|b", "c", "é", "1|u|m"]),
)
RESOURCES = st.lists(
    st.tuples(st.sampled_from(["Observation", "Patient"]), st.lists(VALUES, max_size=5)),
    max_size=12,
)


@given(RESOURCES, st.integers(1, 2**40))
def test_every_value_of_every_resource_is_told_once(resources, start):
    plain = set()
    for key, (kind, values) in enumerate(resources, start):
        plain.add((kind, "", "", key))
        for name, value in values:
            plain |= {(kind, name, value, key), (kind, name, "", key)}
            if "|" in value and name != "value-quantity":
                plain.add((kind, name, value.partition("|")[0] + "|", key))
    blocks = [(key, kind, b"") for key, (kind, _) in enumerate(resources, start)]
    found = list(rows(blocks, lambda _: [values for _, values in resources]))
    told = [(*row[:3], key) for row in found for key in range(row[3], row[4] + 1)]
    assert len(told) == len(set(told))
    assert set(told) == plain
    quantities = [row for row in found if row[1] == "value-quantity" and row[2]]
    assert all(row[3] == row[4] for row in quantities)


@given(st.lists(st.integers(0, 30)))
def test_runs_tell_the_same_keys_in_the_same_order(keys):
    told = [key for first, last in runs(keys) for key in range(first, last + 1)]
    assert told == keys


def test_a_whole_exam_is_one_run():
    assert runs(range(5, 145)) == [(5, 144)]
    assert runs([]) == []
    assert runs([3, 4, 9, 1, 2, 2]) == [(3, 4), (9, 9), (1, 2), (2, 2)]
