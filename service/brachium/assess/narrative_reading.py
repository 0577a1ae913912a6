"""The XHTML of a stored account back to the account, so that it can be told as plain text too.

The reverse of :func:`brachium.assess.narrative_forms.xhtml`: what a reader sees as text is what the
stored report says, word for word, also after a withdrawal.
"""

from __future__ import annotations

from html.parser import HTMLParser

from brachium.assess.narrative import Narrative, Section
from brachium.assess.narrative_joints import Row

_TITLE, _HEADING, _PARAGRAPH, _ITEM, _CELL = "h2", "h3", "p", "li", "td"
_TEXTS = frozenset((_TITLE, _HEADING, _PARAGRAPH, _ITEM, _CELL))
_OPENING = ""


def account_of(div: str) -> Narrative:
    """Return the account that ``div`` was made of; sentences before its title come first."""
    reader = _Reader()
    reader.feed(div)
    reader.close()
    return Narrative(reader.title, tuple(one for one in reader.sections if one.lines or one.rows))


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.title = ""
        self.sections = [Section(_OPENING)]
        self._text: list[str] = []
        self._cells: list[str] = []
        self._spans = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _TEXTS:
            self._text = []
        if tag == "tr":
            self._cells, self._spans = [], False
        if tag == _CELL and attrs:
            self._spans = True

    def handle_data(self, data: str) -> None:
        self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        text = "".join(self._text)
        if tag == _TITLE:
            self.title = text
        elif tag == _HEADING:
            self.sections.append(Section(text))
        elif tag == _PARAGRAPH:
            if self.sections[-1].title:
                self.sections.append(Section(_OPENING))
            self._line(text)
        elif tag == _ITEM:
            self._line(text)
        elif tag == _CELL:
            self._cells.append(text)
        elif tag == "tr" and self._cells:
            self._row()

    def _line(self, text: str) -> None:
        last = self.sections[-1]
        self.sections[-1] = last._replace(lines=(*last.lines, text))

    def _row(self) -> None:
        label, *rest = self._cells
        row = Row(label, both=rest[0]) if self._spans else Row(label, *rest)
        last = self.sections[-1]
        self.sections[-1] = last._replace(rows=(*last.rows, row))
