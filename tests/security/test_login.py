"""The token endpoint: what a good assertion gets, and every broken one its own refusal."""

from __future__ import annotations

import base64
import hmac
import json
import logging
from urllib.parse import urlencode

import pytest
from joserfc.jwk import ECKey, OctKey
from tests.api.serving import BASE, Serving
from tests.security.logins import (
    BEGIN,
    TOKEN_URL,
    Clock,
    Guarded,
    claims,
    ec_key,
    public,
    rsa_key,
    signed,
)

from brachium.security.assertion import LONGEST_JTI
from brachium.security.keys import UnfitKeys, public_only
from brachium.settings import Settings
from brachium.wiring import build


def part(value) -> str:
    return base64.urlsafe_b64encode(json.dumps(value).encode()).rstrip(b"=").decode()


def unsigned() -> str:
    return f"{part({'alg': 'none', 'kid': 'ec-1'})}.{part(claims())}."


def with_public_key_as_secret() -> str:
    signing = f"{part({'alg': 'HS256', 'kid': 'rsa-1'})}.{part(claims())}"
    secret = rsa_key().as_pem(private=False)
    mac = hmac.digest(secret, signing.encode(), "sha256")
    return f"{signing}.{base64.urlsafe_b64encode(mac).rstrip(b'=').decode()}"


def tampered() -> str:
    head, body, signature = signed(claims()).split(".")
    flipped = "A" if signature[10] != "A" else "B"
    return f"{head}.{body}.{signature[:10]}{flipped}{signature[11:]}"


def other_claims() -> str:
    head, _, signature = signed(claims()).split(".")
    return f"{head}.{part(claims())}.{signature}"


def other_curve() -> str:
    key = ECKey.generate_key("P-256", {"kid": "ec-1"})
    return signed(claims(), key, alg="ES256")


BROKEN = {
    "wrong aud": (lambda: signed(claims(aud="https://other.example.org/token")), "aud"),
    "aud of the FHIR base": (lambda: signed(claims(aud=TOKEN_URL[: -len("/auth/token")])), "aud"),
    "several aud": (lambda: signed(claims(aud=[TOKEN_URL, "https://x.example"])), "aud"),
    "no aud": (lambda: signed(claims(aud=None)), "aud"),
    "wrong iss": (lambda: signed(claims(iss="reader")), "iss"),
    "unknown client": (lambda: signed(claims("stranger")), "iss"),
    "no iss": (lambda: signed(claims(iss=None)), "iss"),
    "wrong sub": (lambda: signed(claims(sub="reader")), "sub"),
    "no sub": (lambda: signed(claims(sub=None)), "sub"),
    "expired": (lambda: signed(claims(exp=BEGIN - 60)), "exp"),
    "too far ahead": (lambda: signed(claims(exp=BEGIN + 361)), "exp"),
    "no exp": (lambda: signed(claims(exp=None)), "exp"),
    "exp in words": (lambda: signed(claims(exp="soon")), "exp"),
    "exp true": (lambda: signed(claims(exp=True)), "exp"),
    "from the future": (lambda: signed(claims(iat=BEGIN + 61)), "iat"),
    "not yet": (lambda: signed(claims(nbf=BEGIN + 61)), "nbf"),
    "no jti": (lambda: signed(claims(jti=None)), "jti"),
    "jti not text": (lambda: signed(claims(jti=7)), "jti"),
    "endless jti": (lambda: signed(claims(jti="j" * (LONGEST_JTI + 1))), "jti"),
    "alg none": (unsigned, "alg"),
    "HS256 with the public key": (with_public_key_as_secret, "alg"),
    "ES256": (other_curve, "alg"),
    "alg of another key": (lambda: signed(claims(), rsa_key("ec-1")), "signature"),
    "wrong key": (lambda: signed(claims(), ec_key("ec-9"), kid="ec-1"), "signature"),
    "tampered signature": (tampered, "signature"),
    "tampered claims": (other_claims, "signature"),
    "unknown kid": (lambda: signed(claims(), ec_key("ec-9")), "kid"),
    "no kid": (lambda: signed(claims(), kid=""), "kid"),
    "jku elsewhere": (lambda: signed(claims(), jku="https://evil.example/keys"), "jku"),
    "not a JWT": (lambda: "a.b", "JWT"),
    "not JSON": (lambda: "a.b.c", "header"),
    "too long": (lambda: "a" * 9000, "longer"),
}


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """One service for all requests that change nothing."""
    with Guarded(tmp_path_factory.mktemp("shared")) as service:
        yield service


@pytest.mark.parametrize("name", sorted(BROKEN))
def test_sec_04_a_broken_assertion_is_refused_and_the_fault_named(shared, caplog, name):
    make, named = BROKEN[name]
    with caplog.at_level(logging.INFO):
        answer = shared.login(make())
    assert answer.status_code == 401
    assert answer.json()["error"] == "invalid_client"
    assert named in answer.json()["error_description"]
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["www-authenticate"]
    assert any("invalid_client" in r.getMessage() for r in caplog.records)


@pytest.mark.parametrize("key", [ec_key, rsa_key])
def test_sec_03_a_signed_assertion_gets_a_token(shared, key):
    answer = shared.login(signed(claims(), key()), scope="system/Patient.read system/*.rs")
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert set(body) == {"access_token", "token_type", "expires_in", "scope"}
    assert (body["token_type"], body["expires_in"]) == ("bearer", 300)
    assert body["scope"] == "system/Patient.read system/*.rs"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["content-type"] == "application/json"
    held = {"Authorization": f"Bearer {body['access_token']}"}
    assert shared.ask("GET", "/fhir/Patient", headers=held).status_code == 200


def test_sec_03_neither_token_nor_assertion_is_stored_or_logged(guarded, caplog):
    assertion = signed(claims())
    with caplog.at_level(logging.DEBUG):
        token = guarded.login(assertion).json()["access_token"]
    for path in guarded.parts.settings.database.parent.iterdir():
        raw = path.read_bytes()
        assert token.encode() not in raw
        assert assertion.split(".")[2].encode() not in raw
    assert token not in caplog.text
    assert assertion not in caplog.text


def test_sec_04_a_replayed_assertion_is_refused(shared):
    assertion = signed(claims())
    assert shared.login(assertion).status_code == 200
    again = shared.login(assertion)
    assert (again.status_code, again.json()["error"]) == (401, "invalid_client")
    assert "jti" in again.json()["error_description"]


def test_sec_04_an_assertion_is_spent_by_a_refused_scope_too(shared):
    assertion = signed(claims("reader"))
    assert shared.login(assertion, scope="system/*.rs").json()["error"] == "invalid_scope"
    again = shared.login(assertion, scope="system/Observation.rs")
    assert again.json()["error"] == "invalid_client"


def test_sec_04_two_clients_may_use_the_same_jti(shared):
    assert shared.login(signed(claims("app", jti="one"))).status_code == 200
    other = signed(claims("reader", jti="one"))
    assert shared.login(other, scope="system/Observation.rs").status_code == 200


@pytest.mark.parametrize("claim", ["iat", "nbf"])
def test_sec_05_clocks_may_differ_by_a_minute(shared, claim):
    assert shared.login(signed(claims(**{claim: BEGIN + 30}))).status_code == 200
    assert shared.login(signed(claims(exp=BEGIN - 59))).status_code == 200
    assert shared.login(signed(claims(exp=BEGIN + 360))).status_code == 200


def test_sec_05_the_memory_of_jti_covers_expiry_and_skew(guarded):
    assertion = signed(claims(exp=BEGIN + 240))
    assert guarded.login(assertion).status_code == 200
    for now in (BEGIN + 270, BEGIN + 299, BEGIN + 300, BEGIN + 301):
        guarded.clock.now = now
        # another login, so that what has lapsed is forgotten
        guarded.token()
        assert guarded.login(assertion).json()["error"] == "invalid_client"


def test_sec_05_the_memory_of_jti_survives_a_restart_and_is_shared(guarded, tmp_path):

    assertion = signed(claims())
    assert guarded.login(assertion).status_code == 200
    settings = Settings(database=tmp_path / "guarded.sqlite3", public_base=BASE)
    with Serving(settings.database, build(settings, Clock())) as other:
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": "urn:ietf:params:oauth:client-assertion-type:jwt-bearer",
            "scope": "system/*.rs",
        }
        replayed = other.ask("POST", "/auth/token", data={**form, "client_assertion": assertion})
        assert replayed.json()["error"] == "invalid_client"
        fresh = {**form, "client_assertion": signed(claims())}
        token = other.ask("POST", "/auth/token", data=fresh).json()["access_token"]
    held = {"Authorization": f"Bearer {token}"}
    assert guarded.ask("GET", "/fhir/Patient", headers=held).status_code == 200


@pytest.mark.parametrize(
    ("fields", "error", "named"),
    [
        ({"grant_type": ""}, "invalid_request", "grant_type"),
        ({"grant_type": "authorization_code"}, "unsupported_grant_type", "grant_type"),
        ({"client_assertion_type": ""}, "invalid_request", "client_assertion_type"),
        ({"client_assertion_type": "x"}, "invalid_request", "client_assertion_type"),
        ({"scope": ""}, "invalid_scope", "scope"),
        ({"scope": "system/*.sr"}, "invalid_scope", "system/*.sr"),
        ({"scope": "system/Observation.rs?category=exam"}, "invalid_scope", "query"),
        ({"scope": "user/*.rs"}, "invalid_scope", "user/*.rs"),
        ({"client_secret": "x"}, "invalid_client", "secret"),
        ({"client_id": "reader"}, "invalid_client", "client_id"),
    ],
)
def test_token_requests_that_are_not_well_formed(shared, fields, error, named):
    answer = shared.login(**fields)
    assert answer.status_code == (401 if error == "invalid_client" else 400)
    assert answer.json()["error"] == error
    assert named in answer.json()["error_description"]


def test_a_scope_beyond_the_grant_is_refused(shared):
    answer = shared.login(signed(claims("reader")), scope="system/Observation.rs system/Patient.r")
    assert (answer.status_code, answer.json()["error"]) == (400, "invalid_scope")
    assert "system/Patient.r" in answer.json()["error_description"]


@pytest.mark.parametrize(
    ("content", "media"),
    [
        (b"{}", "application/json"),
        (b"grant_type=%ff", "application/x-www-form-urlencoded"),
        (b"grant_type=a&grant_type=b", "application/x-www-form-urlencoded"),
        (
            urlencode([(f"x{n}", "1") for n in range(50)]).encode(),
            "application/x-www-form-urlencoded",
        ),
        (b"x=" + b"y" * 40_000, "application/x-www-form-urlencoded"),
    ],
)
def test_a_token_request_that_is_no_form_is_refused(shared, content, media):
    answer = shared.ask("POST", "/auth/token", content=content, headers={"Content-Type": media})
    assert answer.status_code == 400
    assert answer.json()["error"] == "invalid_request"


def test_no_client_assertion_at_all(shared):
    form = {"grant_type": "client_credentials", "scope": "system/*.rs"}
    answer = shared.ask("POST", "/auth/token", data=form)
    assert answer.json()["error"] == "invalid_request"
    assert "client_assertion" in answer.json()["error_description"]


def test_a_revoked_client_gets_no_token_and_its_tokens_are_dead(guarded):
    held = guarded.as_client()
    assert guarded.ask("GET", "/catalogue", headers=held).status_code == 200
    assert guarded.parts.clients.revoke("app", guarded.clock())
    dead = guarded.ask("GET", "/catalogue", headers=held)
    assert dead.status_code == 401
    assert 'error="invalid_token"' in dead.headers["www-authenticate"]
    answer = guarded.login()
    assert answer.json()["error"] == "invalid_client"
    assert "revoked" in answer.json()["error_description"]


def test_sec_06_inline_keys_change_without_a_restart(guarded):
    new = ec_key("ec-2")
    assert "kid" in guarded.login(signed(claims(), new)).json()["error_description"]
    guarded.parts.clients.rekey("app", public(new), "", guarded.clock())
    assert guarded.login(signed(claims(), new)).status_code == 200
    assert guarded.login(signed(claims())).json()["error"] == "invalid_client"


def doubled() -> bytes:
    return json.dumps({"keys": [ec_key().as_dict(private=False)] * 2}).encode()


def test_sec_04_a_kid_with_two_keys_names_none(guarded):
    guarded.register("double", "clinic-app", "system/*.rs", keys=doubled())
    answer = guarded.login(signed(claims("double")))
    assert answer.json()["error"] == "invalid_client"
    assert "several" in answer.json()["error_description"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"{", "not JSON"),
        (b"[]", "JWK Set"),
        (b'{"keys":[]}', "no key"),
        (json.dumps({"keys": [ec_key().as_dict(private=True)]}).encode(), "private"),
        (json.dumps({"keys": [OctKey.generate_key(256).as_dict()]}).encode(), "private or shared"),
        (doubled(), "same kid"),
        (public(ECKey.generate_key("P-256", {"kid": "a"})), "P-384"),
        (public(ECKey.generate_key("P-384")), "no kid"),
    ],
    ids=["broken", "no set", "empty", "private", "shared", "same kid", "curve", "no kid"],
)
def test_sec_04_unfit_keys_are_not_registered(text, told):
    with pytest.raises(UnfitKeys, match=told) as refused:
        public_only(text)
    assert ec_key().as_dict(private=True)["d"] not in str(refused.value)
