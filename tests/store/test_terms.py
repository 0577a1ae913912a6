"""Search values packed and unpacked, compared with the plain way of saying it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from brachium.records import Resource, SearchValue
from brachium.store.runs import runs
from brachium.store.terms import pack, unpack

VALUES = [SearchValue(name, value) for name in ("code", "date") for value in ("a|b", "c", "é")]
SEARCHES = st.lists(
    st.one_of(
        st.sampled_from(VALUES),
        st.builds(SearchValue, st.sampled_from(["code", "x"]), st.sampled_from(["a|b", "c"])),
    ),
    max_size=5,
)
RESOURCES = st.lists(
    st.builds(
        lambda kind, search: Resource(kind, "i", b"{}", 1, search=tuple(search)),
        st.sampled_from(["Observation", "Patient"]),
        SEARCHES,
    ),
    max_size=12,
)


@given(RESOURCES, st.integers(1, 2**40))
def test_unpacking_gives_every_value_of_every_resource_once(resources, start):
    plain = {
        (one.type, row.parameter, row.value, key)
        for key, one in enumerate(resources, start)
        for row in one.search
    }
    rows = list(unpack(pack(resources), start))
    told = [(*row[:3], key) for row in rows for key in range(row[3], row[4] + 1)]
    assert len(told) == len(set(told))
    assert set(told) == plain


@given(st.lists(st.integers(0, 30)))
def test_runs_tell_the_same_keys_in_the_same_order(keys):
    told = [key for first, last in runs(keys) for key in range(first, last + 1)]
    assert told == keys


def test_a_whole_exam_is_one_run():
    assert runs(range(5, 145)) == [(5, 144)]
    assert runs([]) == []
    assert runs([3, 4, 9, 1, 2, 2]) == [(3, 4), (9, 9), (1, 2), (2, 2)]
