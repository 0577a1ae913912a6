"""Ids are uuid5 of business identifiers."""

from __future__ import annotations

from uuid import UUID, uuid5

from hypothesis import given
from hypothesis import strategies as st

from brachium.coding.identity import Ids, exam_id, party_id
from brachium.exam.findings import Identifier

BY = Identifier(system="https://saltmarsh.example.org/fid/exam", value="EX-1")


@given(st.text(min_size=1))
def test_ids_equal_those_of_the_standard_library(name):
    assert Ids(exam_id(BY)).of(name) == str(uuid5(UUID(exam_id(BY)), name))


def test_exm_03_the_same_identifier_gives_the_same_ids_and_others_differ():
    other = BY.model_copy(update={"value": "EX-2"})
    assert exam_id(BY) == exam_id(BY.model_copy())
    assert exam_id(BY) != exam_id(other)
    assert party_id("Patient", BY) != party_id("Practitioner", BY)
    assert UUID(exam_id(BY)).version == 5
