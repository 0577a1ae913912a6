"""Settings: defaults, every value read, and every fault told at once."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest

from brachium.problems import BrokenSettings
from brachium.settings import Settings, read_settings


def test_nothing_set_gives_the_documented_defaults() -> None:
    settings = read_settings({})
    assert (settings.host, settings.port) == ("127.0.0.1", 8321)
    assert settings.public_base == "http://127.0.0.1:8321"
    assert settings.canonical == "https://brachium.example.org/fhir"
    assert settings.max_body == 2 * 1024 * 1024
    assert settings.snomed
    assert settings.unverified


def test_every_setting_can_be_set(tmp_path: Path) -> None:
    pem = tmp_path / "some.pem"
    pem.touch()
    environ = {
        "BRACHIUM_DATABASE": str(tmp_path / "exams.sqlite3"),
        "BRACHIUM_HOST": "0.0.0.0",  # noqa: S104
        "BRACHIUM_PORT": "9000",
        "BRACHIUM_PUBLIC_BASE": "https://arms.example.org/api/",
        "BRACHIUM_CANONICAL": "https://codes.example.org/fhir",
        "BRACHIUM_TABLES": str(tmp_path),
        "BRACHIUM_OVERLAY": str(tmp_path),
        "BRACHIUM_MAX_BODY": "4096",
        "BRACHIUM_PLUS_MINUS_GRADES": "off",
        "BRACHIUM_CONVERT_UNITS": "on",
        "BRACHIUM_SIDE": "site",
        "BRACHIUM_SNOMED": "false",
        "BRACHIUM_UNVERIFIED": "0",
        "BRACHIUM_MEMORY_REFERENCES": "on",
        "BRACHIUM_TLS_CERT": str(pem),
        "BRACHIUM_TLS_KEY": str(pem),
        "BRACHIUM_PROXIES": "10.0.0.5 10.1.0.0/16",
        "BRACHIUM_ORIGINS": "https://app.example.org http://127.0.0.1:3000",
        "BRACHIUM_RATE": "7",
        "BRACHIUM_CONCURRENCY": "8",
        "BRACHIUM_PRIVATE_KEY_ADDRESSES": "on",
        "BRACHIUM_CA_FILE": str(pem),
        "BRACHIUM_EXPORTS": str(tmp_path),
        "BRACHIUM_EXPORT_HOURS": "48",
        "BRACHIUM_AUDIT_KEY": "audit-key.json",
        "BRACHIUM_LOG": "text",
        "PATH": "/bin",
    }
    settings = read_settings(environ)
    default = Settings()
    assert all(getattr(settings, f.name) != getattr(default, f.name) for f in fields(Settings))
    assert settings.public_base == "https://arms.example.org/api"


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("TLS_CERT", "/no/such.pem", "existing file"),
        ("PROXIES", "proxy.example.org", "IP addresses"),
        ("PROXIES", "*", "IP addresses"),
        ("ORIGINS", "https://app.example.org/", "origins"),
        ("ORIGINS", "*", "origins"),
        ("RATE", "0", "whole number"),
        ("CONCURRENCY", "0", "whole number"),
        ("LOG", "xml", "json or text"),
    ],
)
def test_bad_values_of_what_guards_the_service(name: str, value: str, told: str) -> None:
    with pytest.raises(BrokenSettings, match=told):
        read_settings({f"BRACHIUM_{name}": value})


def test_a_certificate_without_its_key_stops_the_start(tmp_path: Path) -> None:
    pem = tmp_path / "some.pem"
    pem.touch()
    with pytest.raises(BrokenSettings, match="belong together"):
        read_settings({"BRACHIUM_TLS_CERT": str(pem)})


def test_all_bad_values_are_listed_together() -> None:
    environ = {
        "BRACHIUM_PORT": "eighty",
        "BRACHIUM_MAX_BODY": "-1",
        "BRACHIUM_SNOMED": "maybe",
        "BRACHIUM_SIDE": "port",
        "BRACHIUM_PUBLIC_BASE": "arms.example.org",
        "BRACHIUM_TABLES": "/no/such/folder",
        "BRACHIUM_SNOMAD": "off",
    }
    with pytest.raises(BrokenSettings) as caught:
        read_settings(environ)
    assert all(name in str(caught.value) for name in environ)
    assert "7 faults" in str(caught.value)
