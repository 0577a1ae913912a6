"""The small parts that the writers are made of."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brachium.formats import lossless
from brachium.formats.head import parts
from brachium.formats.references import Target, repointed, targets
from brachium.formats.transaction import search_token
from brachium.records import Resource, StoredResource

RECORDED = "2026-03-02T09:31:08.412Z"


def stored(resource: Resource, version: int = 3) -> StoredResource:
    text = resource.text(version, RECORDED)
    return StoredResource(resource.type, resource.id, version, RECORDED, text)


@given(
    st.decimals(allow_nan=False, allow_infinity=False, places=4, min_value=-9999, max_value=9999)
)
def test_neg_06_numbers_are_written_as_they_were_read(number) -> None:
    text = f'{{"value":{number:f},"same":[{number:f}]}}'.encode()
    assert lossless.write(lossless.parse(text)) == text


def test_lossless_refuses_what_would_lose_something() -> None:
    with pytest.raises(ValueError, match="duplicate"):
        lossless.parse(b'{"a":1,"a":2}')
    with pytest.raises(TypeError):
        lossless.write({"a": object()})


@pytest.mark.parametrize("issued", [True, False])
@pytest.mark.parametrize("profile", [(), ("http://a.example.org/p", "http://b.example.org/q")])
@pytest.mark.parametrize("body", [b"{}", b'{"status":"final","issued":"x"}'])
def test_the_head_of_stored_text_comes_apart_as_it_was_put_together(issued, profile, body) -> None:
    resource = Resource("Observation", "id-1", body, 3, issued=issued, profile=profile)
    split = parts(stored(resource))
    assert split.body == body
    assert split.issued is issued
    assert split.profile.decode() == ",".join(f'"{url}"' for url in profile)


def test_text_of_other_making_is_not_taken_apart() -> None:
    row = StoredResource(
        "Observation", "a", 1, RECORDED, b'{"id":"a","resourceType":"Observation"}'
    )
    with pytest.raises(ValueError, match="does not begin"):
        parts(row)


def test_references_are_found_with_and_without_a_version() -> None:
    text = b'{"a":{"reference":"Patient/p-1"},"b":[{"reference":"Observation/o/_history/12"}]}'
    assert list(targets(text)) == [Target("Patient", "p-1"), Target("Observation", "o", 12)]
    assert repointed(text, lambda target: f'"reference":"{target.path}"'.encode()) == text
    escaped = rb'{"note":"\"reference\":\"Patient/p-1\""}'
    assert list(targets(escaped)) == []


def test_txn_09_a_search_token_cannot_widen_the_search() -> None:
    written = search_token("https://x.example.org/a", "1&2|3,4$5\\6#7 8")
    assert written == (
        "https%3A%2F%2Fx.example.org%2Fa%7C1%262%5C%7C3%5C%2C4%5C%245%5C%5C6%237%208"
    )
