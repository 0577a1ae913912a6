"""Reading a request: its body as bytes, its preconditions, and the envelope of a correction.

The exam itself is never parsed here: its bytes go on as they came, with every digit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

from jiter import from_json
from starlette.requests import Request

from brachium.api.allowed import names as allowed_names
from brachium.api.answers import header
from brachium.api.faults import (
    BadParameter,
    NotAcceptable,
    NotJson,
    Refused,
    Stale,
    Unconditional,
    WrongMediaType,
)
from brachium.api.media import FHIR_JSON, JSON, choose, is_fhir_body, is_json_body
from brachium.formats.incoming import parse
from brachium.intake.lifecycle import MAX_REASON
from brachium.problems import Listed, Problem, Severity

_ETAG = re.compile(r'(?:W/)?"(\d{1,9})"')
_JSON_TOKEN = re.compile(rb'"(?:[^"\\]|\\.)*"|[{}\[\],:]', re.DOTALL)


async def json_body(request: Request) -> bytes:
    """Return the bytes of a JSON body; 415 when it says it is something else."""
    return await _body(request, is_json_body, JSON)


async def fhir_body(request: Request) -> bytes:
    """Return the bytes of a body in FHIR JSON; 415 when it says it is something else."""
    return await _body(request, is_fhir_body, f"{FHIR_JSON}, {JSON}")


async def _body(request: Request, is_read: Callable[[str], bool], accepted: str) -> bytes:
    content_type = header(request.scope, b"content-type")
    encoding = header(request.scope, b"content-encoding")
    if not content_type or not is_read(content_type):
        raise WrongMediaType(parameter="Content-Type", headers={"Accept": accepted})
    if encoding and encoding.strip().lower() != "identity":
        raise WrongMediaType(parameter="Content-Encoding")
    return await request.body()


async def fhir_object(request: Request) -> Any:  # noqa: ANN401 - JSON
    """Return the JSON object of a body in FHIR JSON, with its digits; 400 when there is none."""
    try:
        found = parse(await fhir_body(request))
    except ValueError:
        raise NotJson from None
    if not isinstance(found, dict):
        raise NotJson
    return found


def expected_version(request: Request) -> int:
    """Return the version that If-Match names; 428 without one, 412 for one that cannot be ours."""
    value = header(request.scope, b"if-match")
    if value is None or value.strip() in ("", "*"):
        raise Unconditional(parameter="If-Match")
    found = _ETAG.fullmatch(value.strip())
    if found is None:
        raise Stale(parameter="If-Match")
    return int(found.group(1))


def unchanged(request: Request, etag: str) -> bool:
    """Tell whether If-None-Match names ``etag``; the comparison is weak (RFC 9110 13.1.2)."""
    value = header(request.scope, b"if-none-match")
    if value is None:
        return False
    tags = {tag.strip().removeprefix("W/") for tag in value.split(",")}
    return "*" in tags or etag.removeprefix("W/") in tags


def only_parameters(request: Request, *known: str) -> None:
    """Refuse a query parameter that nobody reads: a misspelt one would change the meaning."""
    once_each(request)
    for name in request.query_params:
        if name not in known:
            raise BadParameter(parameter=printable(name), allowed=allowed_names(known))


def once_each(request: Request) -> None:
    """Refuse a repeated query parameter: the framework would keep the last one in silence."""
    names = [name for name, _ in request.query_params.multi_items()]
    for name in names:
        if names.count(name) > 1:
            raise BadParameter(parameter=printable(name), allowed="every parameter once")


def accepted(request: Request, offers: tuple[str, ...]) -> str:
    """Return the form of the answer; what cannot be met as it was asked is refused."""
    once_each(request)
    media = choose(header(request.scope, b"accept"), offers)
    if media is None:
        raise NotAcceptable(parameter="Accept")
    return media


def printable(name: str) -> str:
    """Return a parameter's name when it is a plain word, else a stand-in that can be shown."""
    return name if re.fullmatch(r"[A-Za-z0-9_.:-]{1,64}", name) else "unreadable-name"


def member_slices(raw: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield key (as written, quoted) and value bytes of the members of a valid JSON object."""
    depth, key, begin = 0, b"", -1
    for token in _JSON_TOKEN.finditer(raw):
        mark = token.group()
        if mark in b"{[":
            depth += 1
        elif depth == 1 and mark == b":":
            begin = token.end()
        elif depth == 1 and mark in (b",", b"}"):
            if key:
                yield key, raw[begin : token.start()].strip()
            key, begin = b"", -1
            depth -= mark == b"}"
        elif mark in b"}]":
            depth -= 1
        elif depth == 1 and begin < 0:
            key = mark


def envelope(raw: bytes, members: tuple[str, ...], *needed: str) -> dict[str, bytes]:
    """Return the bytes of the members of a JSON object that has no other than ``members``.

    400 when it is not JSON, 422 when one of ``needed`` is missing or another member is there.
    """
    try:
        parsed: Any = from_json(raw, float_mode="lossless-float", catch_duplicate_keys=True)
    except ValueError:
        raise NotJson from None
    if not isinstance(parsed, dict):
        raise NotJson
    faults = [_missing(name) for name in needed if name not in parsed]
    if any(name not in members for name in parsed):
        faults.append(_unknown(members))
    if faults:
        raise Refused(*faults)
    return {from_json(key): value for key, value in member_slices(raw)}


def reason_in(members: dict[str, bytes]) -> str:
    """Return the reason of a change, empty when none is given: the intake knows if it needs one."""
    value = from_json(members.get("reason", b'""'))
    if not isinstance(value, str) or len(value) > MAX_REASON:
        raise Refused(_unfit_reason())
    return value


_SOURCE = "FHIR R4 observation-status; own convention: every later change says why"
_INCOMPLETE = Listed(
    "change-incomplete",
    Severity.ERROR,
    "A change lacks a member.",
    "A correction is the whole exam, not a part of it.",
    'Send {"reason": why, "exam": the whole exam} to correct, {"reason": why} to withdraw.',
    _SOURCE,
)
_UNKNOWN_MEMBER = Listed(
    "change-unknown-member",
    Severity.ERROR,
    "A change has a member that is not known.",
    "Dropping it in silence could lose what was meant.",
    "Send the members that the operation describes.",
    _SOURCE,
)
_UNFIT_REASON = Listed(
    "change-unfit-reason",
    Severity.ERROR,
    "The reason of a change cannot be kept.",
    "It is text of limited length.",
    f"Say in 1 to {MAX_REASON} characters why the stored exam changes.",
    _SOURCE,
)
LISTED = (_INCOMPLETE, _UNKNOWN_MEMBER, _UNFIT_REASON)


def _missing(name: str) -> Problem:
    return _INCOMPLETE.problem(f"/{name}", f"The member {name} is missing.", "required")


def _unknown(members: tuple[str, ...]) -> Problem:
    """The name is not told: it could be anything, and the known ones are few."""
    message = "The change has a member that is not known here."
    return _UNKNOWN_MEMBER.problem("", message, "structure", f"Send only: {', '.join(members)}.")


def _unfit_reason() -> Problem:
    message = "The reason of a change is not a text that can be kept."
    return _UNFIT_REASON.problem("/reason", message, "value")
