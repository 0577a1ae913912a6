"""Why something was refused: one page for each code, with a request that passes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from brachium.api.docs_page import STYLE

if TYPE_CHECKING:
    from brachium.api.worked import Request, Worked
    from brachium.problems import Listed

_EFFECT = {
    "error": "A request that meets this is refused, and nothing of it is stored.",
    "warning": "It refuses nothing. It is told and kept with the record.",
    "information": "It refuses nothing. It is told so that you know.",
}


def rule_page(row: Listed, worked: Worked, caution: str) -> str:
    """Return the page of one code."""
    title = escape(f"{row.code}: {row.title}")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width">'
        f"<style>{STYLE}</style></head><body><main><h1><code>{escape(row.code)}</code></h1>"
        f"<p><strong>{escape(row.title)}</strong></p>{''.join(_account(row))}"
        f"{''.join(_requests(worked))}"
        f'<p class="caution">{escape(caution)}</p>'
        '<p><a href="../rules">Every rule and code, as data</a></p></main></body></html>'
    )


def _account(row: Listed) -> Iterator[str]:
    told = {
        "Effect": _EFFECT[row.severity.value],
        "Why": row.reason,
        "What to do": row.remedy,
        "Source": row.source,
    }
    rows = (
        f"<tr><th scope=row>{name}</th><td>{escape(text)}</td></tr>"
        for name, text in told.items()
        if text
    )
    yield f"<table>{''.join(rows)}</table>"


def _requests(worked: Worked) -> Iterator[str]:
    if not worked.provokes:
        yield (
            "<p>No request alone brings this about: it depends on the state of the service or on "
            "the tables in use. The same request may pass later.</p>"
        )
        return
    yield f"<h2>A request that passes</h2>{_sequence(worked.passes)}"
    yield f"<h2>A request that meets it</h2>{_sequence(worked.provokes)}"


def _sequence(requests: Sequence[Request]) -> str:
    *before, last = requests
    first = "".join(f"<p>First:</p><pre>{escape(one.text)}</pre>" for one in before)
    return f"{first}{'<p>Then:</p>' if before else ''}<pre>{escape(last.text)}</pre>"


def rule_json(row: Listed, worked: Worked) -> dict[str, Any]:
    """Return the same as data."""
    return {
        "code": row.code,
        "severity": row.severity.value,
        "title": row.title,
        "reason": row.reason,
        "remedy": row.remedy,
        "source": row.source,
        "passes": [_told(one) for one in worked.passes],
        "provokes": [_told(one) for one in worked.provokes],
    }


def _told(request: Request) -> dict[str, Any]:
    return {
        "method": request.method,
        "path": request.path,
        "headers": dict(request.headers),
        "body": request.body,
    }
