"""What an export can be refused for, and what is told of one that ignored something."""

from __future__ import annotations

from collections.abc import Mapping

from brachium.api.fault import HTTP, Fault, Rule
from brachium.problems import Listed, Severity


class TooManyJobs(Fault):
    """The client has as many exports running as it may have."""


class PolledTooFast(Fault):
    """The state of an export is asked for again and again."""


class ExportFailed(Fault):
    """An export came to nothing."""


class NoSuchRange(Fault):
    """Bytes were asked for that the file does not have; ``size`` is how many it has."""

    def __init__(self, size: int) -> None:
        super().__init__(headers={"Content-Range": f"bytes */{size}"}, parameter="Range")


_STATUS = "Bulk Data Access 2.0, bulk data status request"
BULK_STATUSES: Mapping[type[Exception], Rule] = {
    TooManyJobs: Rule(
        429,
        "throttled",
        "exports-running",
        "The client has as many exports running as it may have at a time.",
        "Wait until one is complete, or delete one that is not needed.",
        "Bulk Data Access 2.0, bulk data kick-off request",
        {"Retry-After": "60"},
    ),
    PolledTooFast: Rule(
        429,
        "throttled",
        "polled-too-fast",
        "The state of the export was asked for several times within a second.",
        "Wait as many seconds as Retry-After says; the export goes on.",
        _STATUS,
        {"Retry-After": "1"},
    ),
    ExportFailed: Rule(
        500,
        "exception",
        "export-failed",
        "The export could not be carried out; there are no files of it.",
        "Delete it and begin again; report it if that fails too.",
        _STATUS,
    ),
    NoSuchRange: Rule(
        416,
        "value",
        "no-such-range",
        "The file does not have the bytes that were asked for.",
        "Content-Range says how many bytes there are.",
        HTTP + " 15.5.17",
    ),
}
IGNORED = Listed(
    "export-parameter-ignored",
    Severity.WARNING,
    "A part of what was asked of an export was left out.",
    "With Prefer: handling=lenient an export does what it can.",
    "Compare the request with the section on bulk export in the README.",
    "Bulk Data Access 2.0, bulk data kick-off request",
)
LISTED = (IGNORED,)
