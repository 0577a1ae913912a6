"""The envelope of a change: the exam inside keeps every byte."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brachium.api.faults import NotJson, Refused
from brachium.api.requests import MAX_REASON, envelope, member_slices, printable, reason_in

PLAIN = st.none() | st.booleans() | st.integers() | st.text()
VALUES = st.recursive(
    PLAIN, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)


@given(st.dictionaries(st.text(), VALUES), st.booleans(), st.sampled_from([None, 1, "\t"]))
def test_slices_are_the_values(value, ascii_only, indent):
    raw = json.dumps(value, ensure_ascii=ascii_only, indent=indent).encode()
    found = {json.loads(key): json.loads(part) for key, part in member_slices(raw)}
    assert found == value


def test_neg_06_digits_of_the_exam_stay():
    raw = b' {"exam" : {"a":12.50,"b":[150.0 , 1e2]} , "reason":"a \\"b\\" }" } '
    members = envelope(raw, ("exam", "reason"), "exam")
    assert members["exam"] == b'{"a":12.50,"b":[150.0 , 1e2]}'
    assert reason_in(members) == 'a "b" }'


@pytest.mark.parametrize("raw", [b"", b"{", b"[]", b'"x"', b'{"a":1,"a":2}', b"\xff", b"NaN x"])
def test_err_03_what_is_not_a_json_object_is_broken(raw):
    with pytest.raises(NotJson):
        envelope(raw, ("reason",))


def test_missing_and_unknown_members_are_named_without_their_text():
    with pytest.raises(Refused) as caught:
        envelope(b'{"Jane Doe": 1}', ("exam", "reason"), "exam")
    pointers = {problem.pointer for problem in caught.value.problems}
    assert pointers == {"/exam", ""}
    assert "Jane" not in repr(caught.value.problems)


@pytest.mark.parametrize("value", [b"1", b"null", b'["x"]', b'"' + b"x" * (MAX_REASON + 1) + b'"'])
def test_cor_01_a_reason_is_a_text_of_reasonable_length(value):
    with pytest.raises(Refused) as caught:
        reason_in({"reason": value})
    assert caught.value.problems[0].pointer == "/reason"


def test_cor_01_no_reason_is_left_to_the_intake():
    assert reason_in({}) == ""


def test_names_that_could_hold_anything_are_not_shown():
    assert printable("patinet") == "patinet"
    assert printable("Jane Doe 1969") == "unreadable-name"
