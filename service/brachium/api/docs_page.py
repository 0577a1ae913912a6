"""One plain page that lists the operations of the OpenAPI document; nothing is loaded for it."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping
from html import escape
from typing import Any

import orjson

STYLE = (
    "body{font:1rem/1.5 system-ui,sans-serif;max-width:52rem;margin:2rem auto;padding:0 1rem;"
    "color:#1a1a1a;background:#fff}"
    "h2{margin-top:2.5rem;border-bottom:1px solid #767676}"
    "code,pre{font-family:ui-monospace,monospace;font-size:.9rem}"
    "pre{background:#f2f2f2;padding:.75rem;overflow-x:auto}"
    "table{border-collapse:collapse}"
    "th,td{text-align:left;vertical-align:top;padding:.2rem 1rem .2rem 0}"
    ".caution{border:2px solid #8a1f11;padding:.75rem}"
)
POLICY = (
    "default-src 'none'; frame-ancestors 'none'; style-src 'sha256-"
    + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    + "'"
)
_METHODS = ("get", "post", "put", "patch", "delete")


def page(document: Mapping[str, Any], caution: str) -> str:
    """Return the page for an OpenAPI 3.1 document."""
    info = document["info"]
    title = escape(f"{info['title']} {info['version']}")
    body = "".join(_sections(document))
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width">'
        f"<style>{STYLE}</style></head><body><main><h1>{title}</h1>"
        f'<p>{escape(info["description"])}</p><p class="caution">{escape(caution)}</p>'
        '<p>The same as data: <a href="openapi.json">openapi.json</a>, and the shape of an exam: '
        f'<a href="schema/exam">schema/exam</a>.</p>{body}</main></body></html>'
    )


def _sections(document: Mapping[str, Any]) -> Iterator[str]:
    for tag in document.get("tags", ()):
        yield f"<h2>{escape(tag['name'])}</h2><p>{escape(tag['description'])}</p>"
        for path, operations in document["paths"].items():
            for method in _METHODS:
                operation = operations.get(method)
                if operation and tag["name"] in operation.get("tags", ()):
                    yield _operation(method, path, operation)


def _operation(method: str, path: str, operation: Mapping[str, Any]) -> str:
    heading = f"<h3><code>{method.upper()} {escape(path)}</code></h3>"
    words = escape(operation.get("summary", ""))
    more = "".join(
        f"<p>{escape(part)}</p>" for part in operation.get("description", "").split("\n\n") if part
    )
    parameters = "".join(_parameter(one) for one in operation.get("parameters", ()))
    table = f"<table><caption>Parameters</caption>{parameters}</table>" if parameters else ""
    answers = "".join(
        f"<tr><th scope=row>{escape(status)}</th><td>{escape(answer['description'])}</td></tr>"
        for status, answer in sorted(operation["responses"].items())
    )
    return (
        f"{heading}<p><strong>{words}</strong></p>{more}{table}{_example(operation)}"
        f"<table><caption>Answers</caption>{answers}</table>"
    )


def _parameter(parameter: Mapping[str, Any]) -> str:
    schema = parameter.get("schema", {})
    values = schema.get("enum") or next(
        (one["enum"] for one in schema.get("anyOf", ()) if "enum" in one), ()
    )
    words = escape(parameter.get("description", ""))
    choice = f" One of: {escape(', '.join(map(str, values)))}." if values else ""
    name = f"<code>{escape(parameter['name'])}</code> ({parameter['in']})"
    return f"<tr><th scope=row>{name}</th><td>{words}{choice}</td></tr>"


def _example(operation: Mapping[str, Any]) -> str:
    content = operation.get("requestBody", {}).get("content", {})
    for media, described in content.items():
        for example in described.get("examples", {}).values():
            text = orjson.dumps(example["value"], option=orjson.OPT_INDENT_2).decode()
            summary = f"<summary>Example ({escape(media)})</summary>"
            return f"<details>{summary}<pre>{escape(text)}</pre></details>"
    return ""
