"""What scopes mean, without a server."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brachium.security.oauth import OAuthError
from brachium.security.roles import ROLES, grantable, held
from brachium.security.scopes import LETTERS, Scope, read_scope, read_scopes, requested

ORDERED = st.lists(st.sampled_from(LETTERS), min_size=1, unique=True).map(
    lambda some: "".join(sorted(some, key=LETTERS.index))
)


@pytest.mark.parametrize("letters", ["sr", "rc", "rr", "x", "", "CRUDS", "rs ", "crusd"])
def test_sec_07_letters_out_of_order_are_refused(letters):
    with pytest.raises(OAuthError) as refused:
        read_scope(f"system/Observation.{letters}")
    assert refused.value.code == "invalid_scope"


@pytest.mark.parametrize(
    "text",
    [
        "user/Observation.rs",
        "patient/*.read",
        "launch",
        "openid",
        "system/Observation",
        "system/observation.rs",
        "system/Observation.rs?category=laboratory",
        "system/Observation.reads",
        'system/Obs"ervation.rs',
        "system/*.\n",
    ],
)
def test_scopes_that_are_not_served_are_refused_and_never_shown_raw(text):
    with pytest.raises(OAuthError) as refused:
        read_scope(text)
    assert refused.value.code == "invalid_scope"
    assert '"' not in refused.value.words
    assert "\n" not in refused.value.words


@given(ORDERED, ORDERED)
def test_sec_07_each_letter_allows_itself_and_nothing_else(letters, wanted):
    scopes = read_scopes(f"system/Observation.{letters}")
    for letter in LETTERS:
        assert scopes.allows("Observation", letter) == (letter in letters)
        assert not scopes.allows("Patient", letter)
        assert not scopes.allows("*", letter)
    assert scopes.covers(Scope("Observation", wanted)) == (set(wanted) <= set(letters))
    lacking = scopes.missing([Scope("Observation", wanted)])
    assert "".join(one.letters for one in lacking) == "".join(x for x in wanted if x not in letters)


@pytest.mark.parametrize(("word", "letters"), [("read", "rs"), ("write", "cud"), ("*", "cruds")])
def test_sec_08_older_words_mean_letters(word, letters):
    assert read_scope(f"system/Patient.{word}") == Scope("Patient", letters)


def test_several_scopes_add_up():
    scopes = read_scopes("system/*.s system/Patient.r")
    assert scopes.covers(Scope("Patient", "rs"))
    assert not scopes.covers(Scope("Observation", "rs"))
    assert not scopes.covers(Scope("*", "rs"))


@pytest.mark.parametrize(
    ("asked", "granted"),
    [
        ("system/Observation.rs", "system/Observation.rs"),
        ("system/Observation.read", "system/Observation.read"),
        ("system/Observation.r  system/Observation.r", "system/Observation.r"),
    ],
)
def test_what_is_held_is_given_as_it_was_asked_for(asked, granted):
    assert requested(asked, read_scopes("system/Observation.rs")) == granted


@pytest.mark.parametrize("asked", ["", "system/*.rs", "system/Observation.rs system/Patient.r"])
def test_more_than_is_held_is_refused(asked):
    with pytest.raises(OAuthError) as refused:
        requested(asked, read_scopes("system/Observation.rs"))
    assert refused.value.code == "invalid_scope"


@pytest.mark.parametrize(
    ("role", "kind", "letter", "allowed"),
    [
        ("clinic-app", "Observation", "c", True),
        ("clinic-app", "AuditEvent", "r", False),
        ("engineer", "AuditEvent", "s", False),
        ("auditor", "AuditEvent", "s", True),
        ("auditor", "Observation", "c", False),
    ],
)
def test_a_role_limits_what_a_wildcard_gives(role, kind, letter, allowed):
    assert held(role, "system/*.cruds").allows(kind, letter) is allowed


def test_no_role_is_granted_what_it_can_never_use():
    for role, scope in (("auditor", "system/Patient.cr"), ("engineer", "system/AuditEvent.rs")):
        with pytest.raises(OAuthError):
            grantable(role, scope)
    for role in ROLES:
        assert grantable(role, ROLES[role].usual)
