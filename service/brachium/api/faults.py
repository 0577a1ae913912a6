"""What the edge can say no to, and the one table that turns it into a status.

The messages are fixed sentences, with figures and words of the service's own where they help:
nothing a client sent and no exception's text gets into them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from brachium.api.bulk_faults import BULK_STATUSES
from brachium.api.fault import HTTP, Rule
from brachium.api.fault import Fault as Fault
from brachium.api.fault import stated as stated
from brachium.api.login_faults import LOGIN_STATUSES
from brachium.formats.incoming import MOST_ENTRIES
from brachium.problems import Problem
from brachium.store.port import StoreUnavailable


class NotJson(Fault):
    """The body is not JSON."""


class Refused(Fault):
    """The exam, or what was asked about it, breaks a rule."""


class NotFound(Fault):
    """Nothing is stored under this name."""


class NoRoute(Fault):
    """The service has no such address."""


class NotSupported(Fault):
    """FHIR knows this interaction, and this service does not serve it."""


class WrongMethod(Fault):
    """The address exists, and not for this method."""


class NotAcceptable(Fault):
    """No answer in a form that the client accepts."""


class TooCostly(Fault):
    """A bundle has more entries than the service takes."""


class WrongMediaType(Fault):
    """The body is in a form that the service does not read."""


class TooLarge(Fault):
    """The body is longer than ``limit`` bytes."""

    def __init__(self, limit: int) -> None:
        told = f"The body is longer than {limit} bytes, which is the most the service takes."
        super().__init__(replace(stated(STATUSES[TooLarge]), message=told))


class BadParameter(Fault):
    """A query parameter, or a header, that cannot be understood.

    ``allowed`` says in words of ours what would be: values, or for an unknown name the names.
    """

    def __init__(self, *, parameter: str | None = None, allowed: str = "") -> None:
        told = stated(STATUSES[BadParameter])
        if allowed:
            told = replace(told, remedy=f"Allowed: {allowed}.")
        super().__init__(told, parameter=parameter)


class BadSearch(Fault):
    """A search that cannot be carried out; the problems name every parameter at fault."""


class Gone(Fault):
    """A link to a page that was made before the key of links changed."""


class Conflict(Fault):
    """The identifier is taken by other content."""


class Stale(Fault):
    """If-Match names a version that is no longer the newest."""


class Several(Fault):
    """A condition fits more than one stored resource."""


class IdMismatch(Fault):
    """The body is another resource than the address or the condition names."""


class Unpinned(Fault):
    """A change over FHIR that does not say which version it changes."""


class Unconditional(Fault):
    """A change that does not say which version it changes."""


class Unavailable(Fault):
    """The store cannot be reached or cannot write."""


class Unforeseen(Fault):
    """A fault of the service itself."""


_UNAVAILABLE = Rule(
    503,
    "no-store",
    "store-unavailable",
    "The store cannot be used at the moment; nothing was changed.",
    "Repeat the same request later: repeating is safe.",
    HTTP + " 15.6.4",
    {"Retry-After": "5"},
)
_UNPINNED = (
    "if-match-missing",
    "A change has to name the version it changes.",
    "Send If-Match with the ETag of the version that was read.",
)
STATUSES: Mapping[type[Exception], Rule] = {
    **LOGIN_STATUSES,
    **BULK_STATUSES,
    NotJson: Rule(
        400,
        "structure",
        "not-json",
        "The body is not a JSON object that can be read.",
        "Send one JSON object in UTF-8, without repeated members.",
        "RFC 8259",
    ),
    BadParameter: Rule(
        400,
        "value",
        "bad-parameter",
        "A parameter of the request is unknown or has a value that cannot be used.",
        "Compare the request with the description of this operation.",
        "FHIR R4 3.1.1.3",
    ),
    BadSearch: Rule(
        400,
        "value",
        "bad-search-value",
        "A search parameter has a value that cannot be used.",
        "Put the value right: to search for something else would mislead.",
        "FHIR R4 3.1.1.3",
    ),
    Gone: Rule(
        410,
        "processing",
        "link-gone",
        "The link to this page is no longer valid.",
        "Begin the search again.",
        "FHIR R4 3.1.0.14",
    ),
    NotFound: Rule(
        404,
        "not-found",
        "not-found",
        "Nothing is stored under this address.",
        "Check the id and the version; exams are found by the address in Location.",
        HTTP + " 15.5.5",
    ),
    NoRoute: Rule(
        404,
        "not-found",
        "no-such-address",
        "The service has no such address.",
        "Start from the index of the service.",
        HTTP + " 15.5.5",
    ),
    NotSupported: Rule(
        404,
        "not-supported",
        "not-supported",
        "This type or interaction is not served.",
        "The CapabilityStatement lists everything that is served.",
        "FHIR R4 3.1.0.10",
    ),
    WrongMethod: Rule(
        405,
        "not-supported",
        "method-not-allowed",
        "The address does not take this method.",
        "Use one of the methods in Allow.",
        HTTP + " 15.5.6",
    ),
    NotAcceptable: Rule(
        406,
        "not-supported",
        "not-acceptable",
        "The service cannot answer in the form that was asked for.",
        "Ask for application/json, or for application/fhir+json where FHIR is served.",
        HTTP + " 15.5.7",
    ),
    Conflict: Rule(
        409,
        "conflict",
        "identifier-taken",
        "An exam with this identifier is stored with other content.",
        "Correct the stored exam with PUT and a reason, or use a new identifier.",
        "FHIR R4 3.1.0.5",
    ),
    Stale: Rule(
        412,
        "conflict",
        "stale-version",
        "The exam has changed since the version named in If-Match.",
        "Read the exam again, look at what changed, and repeat with its ETag.",
        HTTP + " 13.1.1",
    ),
    Several: Rule(
        412,
        "multiple-matches",
        "several-matches",
        "The condition fits several stored resources.",
        "Name one identifier in the condition.",
        "FHIR R4 3.1.0.8.1, 3.1.0.4.3",
    ),
    IdMismatch: Rule(
        400,
        "value",
        "id-mismatch",
        "The body is another resource than the one the address names.",
        "Send the resource with the id, or the identifier, that is in the address.",
        "FHIR R4 3.1.0.4",
    ),
    TooLarge: Rule(
        413,
        "too-long",
        "body-too-large",
        "The body is longer than the service takes.",
        "Send one exam at a time, and leave out what is not an exam.",
        HTTP + " 15.5.14",
    ),
    TooCostly: Rule(
        413,
        "too-costly",
        "bundle-too-long",
        "The bundle has more entries than the service takes.",
        f"Send one exam for each transaction, and at most {MOST_ENTRIES} entries.",
        "FHIR R4 3.1.0.11.2",
    ),
    WrongMediaType: Rule(
        415,
        "not-supported",
        "wrong-media-type",
        "The service reads uncompressed JSON in UTF-8 here.",
        "Send Content-Type: application/json and no Content-Encoding.",
        HTTP + " 15.5.16",
        {"Accept": "application/json"},
    ),
    Refused: Rule(
        422,
        "business-rule",
        "refused",
        "The exam was refused; every reason is listed.",
        "Put right what is listed and send the exam again.",
        "FHIR R4 3.1.0.8",
    ),
    Unpinned: Rule(400, "required", *_UNPINNED, "FHIR R4 3.1.0.5"),
    Unconditional: Rule(428, "required", *_UNPINNED, "RFC 6585 3"),
    Unavailable: _UNAVAILABLE,
    StoreUnavailable: _UNAVAILABLE,
    Unforeseen: Rule(
        500,
        "exception",
        "unforeseen",
        "The service failed; the request id leads to the place.",
        "Repeat the same request once; report the request id if it fails again.",
        HTTP + " 15.6.1",
    ),
}


def rule(error: Exception) -> Rule:
    """Return the rule for an exception; what the table does not know is a fault of the service."""
    for kind in type(error).__mro__:
        if kind in STATUSES:
            return STATUSES[kind]
    return STATUSES[Unforeseen]


def problems_of(error: Exception) -> tuple[Problem, ...]:
    """Return the problems an exception carries, or the one that its rule states."""
    carried = error.problems if isinstance(error, Fault) else ()
    return carried or (stated(rule(error)),)


SERVICE_CODES = frozenset(found.code for found in STATUSES.values())
