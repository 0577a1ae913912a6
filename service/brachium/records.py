"""What is stored: frozen rows without medicine in them.

An exam makes hundreds of the smaller ones, which are therefore named tuples: they are made three
times as fast as frozen dataclasses.

The stored truth is text. A :class:`Resource` is one FHIR resource without the part that the store
decides (version, time of the version); :class:`StoredResource` is that resource as it leaves.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, NamedTuple


class ExamStatus(StrEnum):
    """Where an exam stands; COR-04 fixes the allowed steps between them."""

    PRELIMINARY = "preliminary"
    FINAL = "final"
    AMENDED = "amended"
    CORRECTED = "corrected"
    ENTERED_IN_ERROR = "entered-in-error"


# what is compared and sorted by; a resource has one date of a name at most
DATES = frozenset({"date", "birthdate", "authored"})
QUANTITIES = frozenset({"value-quantity", "component-value-quantity"})


class SearchValue(NamedTuple):
    """One row of the search index: FHIR search parameter name and the value to find it by.

    ``value`` is text in one of these shapes: ``system|code`` for a token, with nothing before the
    bar where there is no system; ``Type/id`` for a reference; ``low/high`` for a parameter of
    :data:`DATES`, two UTC instants of 24 characters around the date as precise as it was written,
    the second no longer in it; ``value|system|code`` with a plain decimal for a parameter of
    :data:`QUANTITIES`; text without case for a string; a uri as it is.
    """

    parameter: str
    value: str


class Resource(NamedTuple):
    """One coded resource before it is stored.

    ``body`` is JSON object text in UTF-8 that holds every member except ``resourceType``, ``id``,
    ``meta`` and, when ``issued`` is true, ``issued``: those four are written by the store, so that
    two bodies are equal exactly when nothing but the version changed. ``version`` is set for what
    belongs to one exam; ``None`` marks a shared resource (patient, examiner, facility), whose next
    version the store decides by comparing bodies.
    """

    type: str
    id: str
    body: bytes
    version: int | None = None
    issued: bool = False
    profile: tuple[str, ...] = ()

    def text(self, version: int, updated: str) -> bytes:
        """Return the whole resource as JSON text; ``updated`` is a FHIR instant."""
        kind, identity, body, _, issued, profile = self
        profiles = f',"profile":[{_quoted(profile)}]' if profile else ""
        stamp = f',"issued":"{updated}"' if issued else ""
        comma = "," if len(body) > 2 else ""
        head = (
            f'{{"resourceType":"{kind}","id":"{identity}","meta":{{"versionId":"{version}",'
            f'"lastUpdated":"{updated}"{profiles}}}{stamp}{comma}'
        )
        return head.encode() + body[1:]


def _quoted(texts: tuple[str, ...]) -> str:
    return ",".join(f'"{text}"' for text in texts)


class StoredResource(NamedTuple):
    """One version of a resource as it leaves: ``text`` is the whole JSON object."""

    type: str
    id: str
    version: int
    updated: str
    text: bytes


@dataclass(frozen=True, slots=True)
class ExamVersion:
    """One version of an exam: what came in, what the service said, and what it became.

    ``content`` is the canonical JSON text of the exam as posted; ``digest`` its SHA-256 in hex;
    ``problems`` the JSON text of the warnings and notices; ``edition`` names the tables that coded
    it; ``assessment`` is the JSON text of everything that was judged and worked out; ``reason`` is
    why this version exists (empty for the first); ``shown`` names the prompts in the assessment by
    rule and version, each once, in its order; ``organization`` is the id of the Organization that
    the exam belongs to, the same in every version.
    """

    id: str
    system: str
    value: str
    version: int
    status: ExamStatus
    recorded: str
    content: bytes
    digest: str
    problems: bytes
    edition: str
    assessment: bytes
    reason: str = ""
    shown: tuple[str, ...] = ()
    organization: str = ""
    resources: tuple[Resource, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Client:
    """One registered client: who may log in with which key, and what it may be granted.

    ``scopes`` are SMART scopes with spaces between them; ``organization`` is an identifier as
    ``system|value`` or empty. The public keys are either ``keys``, the text of a JWK Set, or lie at
    the address ``keys_at``; the other is empty. ``added`` and ``revoked`` are FHIR instants,
    ``revoked`` empty while the client may log in.
    """

    id: str
    name: str
    role: str
    scopes: str
    organization: str = ""
    keys: bytes = b""
    keys_at: str = ""
    added: str = ""
    revoked: str = ""


# the role of whoever asks while no client is registered
THIS_MACHINE = "on-this-machine"


@dataclass(slots=True)
class Occasion:
    """Who asked for what, as the audit keeps it; empty text where nothing is known.

    ``request`` is the id of the request, after a space the client's own if it differs (ERR-06);
    ``client`` a registered client id with its ``role``, which is :data:`THIS_MACHINE` while there
    are none; ``address`` the network address; ``policy`` the jti of the access token, never the
    token; ``method`` and ``path`` the request line without its query; ``interaction`` the FHIR
    interaction or our own word for it; ``query`` and ``form`` all parameters as they came, which
    may name patients and are kept nowhere else. ``noted`` is the number of the entry by which the
    store has told of it, 0 for none.
    """

    request: str = ""
    client: str = ""
    role: str = ""
    address: str = ""
    policy: str = ""
    method: str = ""
    path: str = ""
    interaction: str = ""
    query: str = ""
    form: str = ""
    noted: int = 0


# what an entry tells of its occasion
_TOLD = tuple(one.name for one in fields(Occasion) if one.name != "noted")


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One thing that was done, tried or refused, as the audit keeps it.

    ``at`` is a FHIR instant. ``action`` is one of create, correct, withdraw and close for what was
    stored or refused by the store, else the interaction of the request; ``outcome`` what the store
    decided, or done, refused, failed. ``status`` is that of the answer, 0 where none was known yet.
    ``exam`` and ``version`` name the newest exam version afterwards (0: none), ``digest`` the
    SHA-256 of what was sent or handed out, ``shown`` the prompts that the answer told, by rule and
    version. ``patients`` and ``data`` are references to what it was about. ``seal`` is the digest
    of everything that was stored with it and ``stored`` the number of resource versions in it;
    ``reason`` the code of a refusal, or what a configuration change was.
    """

    at: str
    action: str
    outcome: str
    status: int = 0
    request: str = ""
    client: str = ""
    role: str = ""
    address: str = ""
    policy: str = ""
    method: str = ""
    path: str = ""
    interaction: str = ""
    query: str = ""
    form: str = ""
    exam: str = ""
    version: int = 0
    digest: str = ""
    shown: tuple[str, ...] = ()
    patients: tuple[str, ...] = ()
    data: tuple[str, ...] = ()
    seal: str = ""
    stored: int = 0
    reason: str = ""

    @classmethod
    def of(cls, occasion: Occasion, at: str, action: str, outcome: str, **more: Any) -> AuditEntry:  # noqa: ANN401 - the other members
        """Return an entry that tells of an occasion."""
        told = {name: getattr(occasion, name) for name in _TOLD}
        return cls(at=at, action=action, outcome=outcome, **told, **more)


@dataclass(frozen=True, slots=True)
class AuditRow:
    """An entry in its place: ``hash`` is its link in the chain, in hex."""

    number: int
    hash: str
    entry: AuditEntry


@dataclass(frozen=True, slots=True)
class AuditHead:
    """The end of the chain at some moment, signed so that it can be kept elsewhere.

    ``signature`` is a compact JWS over number, hash and time (RFC 7515).
    """

    number: int
    hash: str
    at: str
    signature: str = ""
