"""Sealed links: nothing can be read in them, nothing changed (matrix SRC-12)."""

from __future__ import annotations

import pytest

from brachium.api.faults import BadParameter, Gone
from brachium.api.page_links import LONGEST, PAGE, PageLinks, Place, TooLong
from brachium.api.sealed import Altered, OtherKey, Seal
from brachium.api.whose import serving

KEY, OTHER = b"k" * 32, b"o" * 32
PAIRS = [("patient.identifier", "https://s|P-0300"), ("_count", "7")]


@pytest.fixture(autouse=True)
def served():
    """A caller who sees every organization."""
    with serving(""):
        yield


def links(key: bytes = KEY) -> PageLinks:
    return PageLinks("https://x/fhir", Seal(lambda: key))


def token(link: str) -> str:
    return link.partition(f"{PAGE}=")[2]


def test_src_12_a_link_gives_back_what_was_put_in_and_shows_nothing_of_it():
    place = Place(17, after="k", total=50)
    link = links().link("Observation", PAIRS, place)
    turned = links().turned("Observation", token(link))
    assert (list(turned.pairs), turned.place) == (PAIRS, place)
    assert "P-0300" not in link
    assert link != links().link("Observation", PAIRS, place)


def test_src_12_every_altered_letter_is_noticed():
    good = token(links().link("Observation", PAIRS, Place()))
    for place in range(0, len(good) - 1, 7):
        other = "A" if good[place] != "A" else "B"
        with pytest.raises((BadParameter, Gone)):
            links().turned("Observation", good[:place] + other + good[place + 1 :])
    for bad in ("", "x", good[:-1] + "!", "é", good + "AAAA", good[:30]):
        with pytest.raises((BadParameter, Gone)):
            links().turned("Observation", bad)


def test_src_12_a_link_of_another_type_or_key_is_refused():
    good = token(links().link("Observation", PAIRS, Place()))
    with pytest.raises(BadParameter):
        links().turned("Patient", good)
    with pytest.raises(Gone):
        links(OTHER).turned("Observation", good)
    with pytest.raises(OtherKey):
        Seal(lambda: OTHER).open(Seal(lambda: KEY).seal([], "a"), "a")
    with pytest.raises(Altered):
        Seal(lambda: KEY).open(Seal(lambda: KEY).seal([], "a"), "b")


def test_src_12_a_link_is_short_or_not_made():
    import random

    chance = random.Random(7)
    ids = [f"{chance.getrandbits(128):032x}" for _ in range(500)]
    few = links().link("Observation", [("_id", ",".join(ids[:40]))], Place(1, after="x", total=9))
    assert len(few) < LONGEST
    with pytest.raises(TooLong) as caught:
        links().link("Observation", [("_id", ",".join(ids))], Place())
    assert caught.value.problems[0].issue_type == "too-costly"
