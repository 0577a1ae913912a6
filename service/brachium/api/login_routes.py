"""The routes of logging in, with what the OpenAPI document says about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from brachium.api import login_faults as faults
from brachium.api.answers import FHIR_ROOT
from brachium.api.described import faults as failing
from brachium.api.faults import Fault, TooLarge, Unavailable, Unforeseen
from brachium.api.login import ASSERTION_TYPE, FORM, GRANT, PATH
from brachium.api.media import JSON
from brachium.api.permits import ACCESS
from brachium.api.routes import Table
from brachium.api.smart import WELL_KNOWN

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.login import Login
    from brachium.api.pages import Fixed

_TEXT = {"type": "string"}
_ERROR = {
    "description": "The error as in RFC 6749 5.2; error_description names what is at fault.",
    "content": {
        JSON: {
            "schema": {
                "type": "object",
                "required": ["error"],
                "properties": {"error": _TEXT, "error_description": _TEXT},
            }
        }
    },
}
_TOKEN = {
    "description": "The access token.",
    "content": {
        JSON: {
            "schema": {
                "type": "object",
                "required": ["access_token", "token_type", "expires_in", "scope"],
                "properties": {
                    "access_token": _TEXT,
                    "token_type": {"const": "bearer"},
                    "expires_in": {"type": "integer", "description": "seconds"},
                    "scope": _TEXT,
                },
            }
        }
    },
}
_ASKED: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            FORM: {
                "schema": {
                    "type": "object",
                    "required": [
                        "grant_type",
                        "scope",
                        "client_assertion_type",
                        "client_assertion",
                    ],
                    "properties": {
                        "grant_type": {"const": GRANT},
                        "scope": {**_TEXT, "description": "such as system/*.rs"},
                        "client_assertion_type": {"const": ASSERTION_TYPE},
                        "client_assertion": {**_TEXT, "description": "a JWT, RS384 or ES384"},
                    },
                }
            }
        },
    }
}


def add_login(app: FastAPI, login: Login, smart: Fixed) -> None:
    """Add the token endpoint and the SMART configuration."""
    table = Table(app, "Logging in")
    failed = failing(TooLarge, Unavailable, Unforeseen)
    answers: dict[int | str, dict[str, Any]] = {200: _TOKEN, 400: _ERROR, 401: _ERROR, **failed}
    table.add("POST", PATH, login.token, "Get an access token", answers, _ASKED)

    async def configuration(request: Request) -> Response:
        """Return where and how a SMART client gets a token."""
        return smart.answer(request)

    found = {"description": "The configuration.", "content": {JSON: {"schema": {"type": "object"}}}}
    known: dict[int | str, dict[str, Any]] = {
        200: found,
        **failing(TooLarge, Unforeseen, fhir=True),
    }
    table.add("GET", WELL_KNOWN, configuration, "SMART configuration", known)


_CHALLENGED = (faults.NoLogin, faults.ExpiredToken, faults.Forbidden, faults.Throttled)


def guarded(document: dict[str, Any]) -> dict[str, Any]:
    """Return the OpenAPI document with the need of every operation and the answers to others."""
    flow = {"tokenUrl": PATH, "scopes": {"system/*.cruds": "everything"}}
    document["components"]["securitySchemes"] = {
        "smart": {"type": "oauth2", "flows": {"clientCredentials": flow}}
    }
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            operation["responses"] |= _said(faults.PlainHttp, path=path)
            row, _ = ACCESS.find(method.upper(), path)
            if row is not None and not row.need.open:
                scopes = [f"system/{kind}.{row.need.letters}" for kind in row.need.types]
                operation["security"] = [{"smart": scopes}]
                operation["responses"] |= _said(*_CHALLENGED, path=path)
    return document


def _said(*kinds: type[Fault], path: str) -> dict[str, Any]:
    refusals = failing(*kinds, fhir=path.startswith(FHIR_ROOT))
    return {str(code): said for code, said in refusals.items()}
