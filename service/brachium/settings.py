"""What a site can set: the only module that reads the environment.

Every setting is an environment variable ``BRACHIUM_`` + the field name in capitals. A misspelt
name is a fault too: a switch that silently does nothing is worse than a service that won't start.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from brachium.problems import BrokenSettings

PREFIX = "BRACHIUM_"
# read by the test suite, so it may stand in the environment of a service that a test starts
NOT_OURS = frozenset({"BRACHIUM_SHARED"})

SidePolicy = Literal["both", "site", "code"]
LogFormat = Literal["json", "text"]


@dataclass(frozen=True, slots=True)
class Settings:
    """One value per setting, each already checked.

    ``public_base`` is the address that clients see and that every link and fullUrl uses;
    ``canonical`` the base of our own code systems; neither ends in a slash. ``tables`` and
    ``overlay`` are folders (``None``: the tables that come with the package, no overlay);
    ``max_body`` is in bytes. ``side``, ``snomed`` and ``unverified`` say how findings are coded;
    ``memory_references`` lets published figures take part that nobody has read in print.
    ``tls_cert`` and ``tls_key`` are PEM files; ``proxies`` the addresses or networks of proxies
    that end TLS in front of the service, ``origins`` the web origins whose pages may call it;
    ``rate`` is requests a minute for each client, ``concurrency`` requests at a time for all.
    ``private_key_addresses`` lets the keys of clients lie on private networks, and ``ca_file``
    holds the certificates that vouch for those who publish keys (``None``: the public ones).
    ``exports`` is the folder for the files of bulk exports (``None``: one beside the database), and
    ``export_hours`` how long they are kept.
    ``log`` is the form of the log.
    """

    database: Path = Path("brachium.sqlite3")
    host: str = "127.0.0.1"
    port: int = 8321
    public_base: str = "http://127.0.0.1:8321"
    canonical: str = "https://brachium.example.org/fhir"
    tables: Path | None = None
    overlay: Path | None = None
    max_body: int = 2 * 1024 * 1024
    plus_minus_grades: bool = True
    convert_units: bool = False
    side: SidePolicy = "both"
    snomed: bool = True
    unverified: bool = True
    memory_references: bool = False
    tls_cert: Path | None = None
    tls_key: Path | None = None
    proxies: tuple[str, ...] | None = None
    origins: tuple[str, ...] | None = None
    rate: int = 6000
    concurrency: int = 256
    private_key_addresses: bool = False
    ca_file: Path | None = None
    exports: Path | None = None
    export_hours: int = 24
    log: LogFormat = "json"
    audit_key: Path | None = None

    @property
    def tls(self) -> bool:
        """Whether the service speaks TLS itself."""
        return self.tls_cert is not None

    @property
    def exports_folder(self) -> Path:
        """The folder for the files of bulk exports."""
        return self.exports or self.database.with_name(f"{self.database.name}.exports")


def read_settings(environ: Mapping[str, str] | None = None) -> Settings:
    """Read every ``BRACHIUM_`` variable; raise :class:`BrokenSettings` listing all bad ones."""
    environ = os.environ if environ is None else environ
    values: dict[str, Any] = {}
    faults: list[str] = []
    for name in sorted(environ):
        if not name.startswith(PREFIX) or name in NOT_OURS:
            continue
        field = name.removeprefix(PREFIX).lower()
        if field not in _READERS:
            faults.append(f"{name}: there is no such setting; settings are {_names()}")
            continue
        try:
            values[field] = _READERS[field](environ[name])
        except ValueError as fault:
            faults.append(f"{name}: {fault}")
    if ("tls_cert" in values) != ("tls_key" in values):
        faults.append(f"{PREFIX}TLS_CERT and {PREFIX}TLS_KEY belong together: one is missing")
    if faults:
        raise BrokenSettings(f"{len(faults)} faults in the settings:\n" + "\n".join(faults))
    return Settings(**values)


def _names() -> str:
    return ", ".join(PREFIX + field.name.upper() for field in fields(Settings))


def _text(value: str) -> str:
    if not value.strip():
        raise ValueError("is empty")
    return value.strip()


def _path(value: str) -> Path:
    return Path(_text(value)).expanduser()


def _folder(value: str) -> Path:
    path = _path(value)
    if not path.is_dir():
        raise ValueError("is not an existing folder")
    return path


def _whole(lowest: int, highest: int) -> Callable[[str], int]:
    def read(value: str) -> int:
        # str.isdigit alone would let through digits of other scripts
        if not (value.isascii() and value.isdigit() and lowest <= int(value) <= highest):
            raise ValueError(f"must be a whole number from {lowest} to {highest}")
        return int(value)

    return read


def _switch(value: str) -> bool:
    words = {"on": True, "true": True, "1": True, "off": False, "false": False, "0": False}
    if value.strip().lower() not in words:
        raise ValueError("must be on or off")
    return words[value.strip().lower()]


def _address(value: str) -> str:
    address = _text(value).rstrip("/")
    parts = urlsplit(address)
    unfit = parts.query or parts.fragment or any(char in address for char in ' "\\<>')
    if parts.scheme not in ("http", "https") or not parts.netloc or unfit:
        raise ValueError("must be an absolute http or https address without query or fragment")
    return address


def _file(value: str) -> Path:
    path = _path(value)
    if not path.is_file():
        raise ValueError("is not an existing file")
    return path


def _networks(value: str) -> tuple[str, ...]:
    names = tuple(_text(value).split())
    try:
        for name in names:
            ipaddress.ip_network(name)
    except ValueError:
        raise ValueError(
            "must be IP addresses or networks with spaces between them, such as 10.0.0.5 or "
            "10.0.0.0/24"
        ) from None
    return names


def _origins(value: str) -> tuple[str, ...]:
    names = tuple(_text(value).split())
    for name in names:
        parts = urlsplit(name)
        if name != f"{parts.scheme}://{parts.netloc}" or parts.scheme not in ("http", "https"):
            raise ValueError(
                "must be origins with spaces between them, such as https://app.example.org"
            )
    return names


def _log(value: str) -> str:
    if value.strip() not in ("json", "text"):
        raise ValueError("must be json or text")
    return value.strip()


def _side(value: str) -> str:
    if value.strip() not in ("both", "site", "code"):
        raise ValueError("must be both, site or code")
    return value.strip()


_READERS: dict[str, Callable[[str], Any]] = {
    "database": _path,
    "host": _text,
    "port": _whole(1, 65535),
    "public_base": _address,
    "canonical": _address,
    "tables": _folder,
    "overlay": _folder,
    "max_body": _whole(1024, 64 * 1024 * 1024),
    "plus_minus_grades": _switch,
    "convert_units": _switch,
    "side": _side,
    "snomed": _switch,
    "unverified": _switch,
    "memory_references": _switch,
    "tls_cert": _file,
    "tls_key": _file,
    "proxies": _networks,
    "origins": _origins,
    "rate": _whole(1, 10_000_000),
    "concurrency": _whole(1, 100_000),
    "private_key_addresses": _switch,
    "ca_file": _file,
    "exports": _path,
    "export_hours": _whole(1, 24 * 365),
    "log": _log,
    "audit_key": _path,
}
