"""An account as plain text, and as the XHTML that FHIR R4 allows in a narrative (txt-1, txt-2)."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brachium.assess.narrative import Narrative, Section
    from brachium.assess.narrative_joints import Row

_HEAD = "<thead><tr><th>Finding</th><th>Right</th><th>Left</th></tr></thead>"
# what notes may hold and XML 1.0 may not, or would read as another character
_FOR_XML = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd", 0x0D: "&#13;"}


def plain_text(narrative: Narrative) -> str:
    """Return the account as lines of text; notes keep the line ends they were written with."""
    blocks = ["\n".join(_text(section)) for section in narrative.sections]
    return "\n\n".join([narrative.title, *blocks]) + "\n"


def _text(section: Section) -> Iterator[str]:
    if not section.title:
        yield from section.lines
        return
    yield section.title
    yield from (f"  {_row_text(row)}" for row in section.rows)
    yield from (f"- {line}" for line in section.lines)


def _row_text(row: Row) -> str:
    if row.both:
        return f"{row.label}: both sides: {row.both}"
    return f"{row.label}: right: {row.right}; left: {row.left}"


def xhtml(narrative: Narrative) -> str:
    """Return the account as the ``div`` of a FHIR R4 Narrative."""
    blocks = "".join(_block(section) for section in narrative.sections)
    title = _escaped(narrative.title)
    return f'<div xmlns="http://www.w3.org/1999/xhtml"><h2>{title}</h2>{blocks}</div>'


def _block(section: Section) -> str:
    if not section.title:
        return "".join(f"<p>{_escaped(line)}</p>" for line in section.lines)
    return f"<h3>{_escaped(section.title)}</h3>{_table(section.rows)}{_list(section.lines)}"


def _list(lines: Iterable[str]) -> str:
    items = "".join(f"<li>{_escaped(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def _table(rows: Iterable[Row]) -> str:
    body = "".join(_tr(row) for row in rows)
    return f"<table>{_HEAD}<tbody>{body}</tbody></table>" if body else ""


def _tr(row: Row) -> str:
    if row.both:
        cells = f'<td colspan="2">{_escaped(row.both)}</td>'
    else:
        cells = f"<td>{_escaped(row.right)}</td><td>{_escaped(row.left)}</td>"
    return f"<tr><td>{_escaped(row.label)}</td>{cells}</tr>"


def _escaped(text: str) -> str:
    safe = escape(text, quote=False)
    # plain text, as nearly all is, holds nothing to translate, which takes ten times as long to see
    return safe if safe.isascii() and "\r" not in safe else safe.translate(_FOR_XML)
