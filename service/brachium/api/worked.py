"""Requests that show each code of the table of rules: one that meets it, and one that passes.

They lie in ``worked.json``. Exams are written there as what differs from one base exam (a JSON
merge patch, RFC 7396); every code has an exam identifier of its own, so that the requests of all
codes can be sent to the same service.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, TypeAlias

import orjson

from brachium.coding.identity import exam_id
from brachium.coding.response import response_id
from brachium.exam.findings import Identifier

Json: TypeAlias = Any

# where each kind of body goes if nothing else is said
_PATHS = {"transaction": "/fhir", "form": "/fhir/QuestionnaireResponse"}
_JSON_BODY = {"Content-Type": "application/json"}


@dataclass(frozen=True, slots=True)
class Request:
    """One HTTP request; ``body`` is text, empty for none."""

    method: str
    path: str
    headers: Mapping[str, str]
    body: str = ""

    @property
    def text(self) -> str:
        """The request as it may be read, without the lines that every client adds itself."""
        head = [f"{self.method} {self.path}", *(f"{k}: {v}" for k, v in self.headers.items())]
        return "\n".join([*head, *(["", self.body] if self.body else [])])


@dataclass(frozen=True, slots=True)
class Worked:
    """What meets a code and what passes; of several requests the last one is meant.

    Both are empty for a code that no request alone brings about.
    """

    provokes: tuple[Request, ...] = ()
    passes: tuple[Request, ...] = ()


@cache
def worked() -> Mapping[str, Worked]:
    """Return the requests of every code that has some."""
    found = orjson.loads(resources.files("brachium.api").joinpath("worked.json").read_bytes())
    base = found["base"]
    return {
        code: Worked(
            _requests(base, code, pair["provokes"], 1), _requests(base, code, pair["passes"], 2)
        )
        for code, pair in found["worked"].items()
    }


def _requests(base: Json, code: str, written: Sequence[Json], number: int) -> tuple[Request, ...]:
    named = {**base, "identifier": {**base["identifier"], "value": f"{code}-{number}"}}
    return tuple(_request(named, one) for one in written)


def _request(named: Json, written: Json) -> Request:
    """Return one request; ``exam`` alone is posted, ``correction`` goes with its reason.

    ``transaction`` is what differs from the transaction of the base exam, by the names of entries;
    ``form`` is what differs from its filled-in form, by the names of items.
    """
    headers = dict(written.get("headers", {}))
    by = Identifier(**named["identifier"])
    usual = next((path for kind, path in _PATHS.items() if kind in written), "/exams")
    path = written.get("path", usual)
    path = path.replace("{exam}", exam_id(by)).replace("{form}", response_id(by))
    body = _body(named, written)
    if body:
        headers = {**_JSON_BODY, **headers}
    return Request(written.get("method", "POST"), path, headers, body)


def _body(named: Json, written: Json) -> str:
    if "text" in written:
        return str(written["text"])
    if "form" in written:
        return _form(named, written["form"])
    if "transaction" in written:
        return _transaction(named, written["transaction"])
    if "exam" in written:
        return _indented(merged(named, written["exam"]))
    if "correction" in written:
        change = written["correction"]
        return _indented({**change, "exam": merged(named, change["exam"])})
    return _indented(written["body"]) if "body" in written else ""


def _template(name: str, named: Json) -> Json:
    text = resources.files("brachium.api").joinpath(name).read_text("utf-8")
    return orjson.loads(text.replace("{exam}", named["identifier"]["value"]))


def _form(named: Json, changed: Json) -> str:
    text = _indented(_listed(merged(_template("worked_form.json", named), changed)))
    return text.replace("{form}", response_id(Identifier(**named["identifier"])))


def _listed(value: Json) -> Json:
    """Return a form whose items have no names any more."""
    if not isinstance(value, dict):
        return value
    found = {name: _listed(one) for name, one in value.items()}
    if isinstance(found.get("item"), dict):
        found["item"] = list(found["item"].values())
    return found


def _transaction(named: Json, changed: Json) -> str:
    entries = merged(_template("worked_transaction.json", named), changed)
    bundle = {"resourceType": "Bundle", "type": "transaction", "entry": list(entries.values())}
    return _indented(bundle)


def _indented(value: Json) -> str:
    return orjson.dumps(value, option=orjson.OPT_INDENT_2).decode()


def merged(target: Json, patch: Json) -> Json:
    """Return ``target`` with a JSON merge patch applied (RFC 7396, 2)."""
    if not isinstance(patch, dict):
        return patch
    found = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            found.pop(name, None)
        else:
            found[name] = merged(found.get(name), value)
    return found
