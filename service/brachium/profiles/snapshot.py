"""Rows laid over the elements of an R4 type: the snapshot of a profile (FHIR R4 5.1.0.2)."""

from __future__ import annotations

from collections.abc import Iterable

from brachium.profiles.base import Base, Binding, Element
from brachium.profiles.rows import Profile, Row


def snapshot(profile: Profile, base: Base) -> tuple[Element, ...]:
    """Return every element of the profile; raises ``LookupError`` for a row that fits nowhere."""
    drawn = _Drawing(base, base.types[profile.base].elements)
    for row in profile.rows:
        drawn.apply(row)
    return tuple(drawn.elements)


class _Drawing:
    """A snapshot while it grows."""

    def __init__(self, base: Base, elements: Iterable[Element]) -> None:
        self._base = base
        self.elements = list(elements)

    def apply(self, row: Row) -> None:
        at = self._ensure(row.id)
        self.elements[at] = _constrained(self.elements[at], row)

    def _find(self, wanted: str) -> int:
        return next((at for at, one in enumerate(self.elements) if one.id == wanted), -1)

    def _ensure(self, wanted: str) -> int:
        """Return where an element is, slicing or unfolding what is above it when need be."""
        at = self._find(wanted)
        if at >= 0:
            return at
        above, dot, last = wanted.rpartition(".")
        if not dot:
            raise LookupError(wanted)
        name, colon, slot = last.partition(":")
        if colon:
            return self._slice(f"{above}.{name}", slot)
        self._unfold(self._ensure(above))
        at = self._find(wanted)
        if at < 0:
            raise LookupError(wanted)
        return at

    def _slice(self, sliced: str, slot: str) -> int:
        at = self._ensure(sliced)
        whole = self.elements[at]
        # what is below the sliced element is below each slice too
        below = [one for one in self.elements if one.id.startswith(f"{sliced}.")]
        new = f"{sliced}:{slot}"
        copies = [one._replace(id=new + one.id.removeprefix(sliced)) for one in below]
        end = at + 1
        while end < len(self.elements) and self.elements[end].id.startswith(
            (f"{sliced}.", f"{sliced}:")
        ):
            end += 1
        one = whole._replace(id=new, slice=slot, slicing=None, least=0, words="")
        self.elements[end:end] = [one, *copies]
        return end

    def _unfold(self, at: int) -> None:
        """Put the children of an element's type below it."""
        parent = self.elements[at]
        source = parent.content or parent.types[0].name
        kind = self._base.types[source.split(".")[0]]
        children = [
            one._replace(
                id=parent.id + one.id.removeprefix(source),
                path=parent.path + one.path.removeprefix(source),
            )
            for one in kind.elements
            if one.id.startswith(f"{source}.")
        ]
        if not children:
            raise LookupError(f"nothing is below {parent.id}")
        if parent.content:
            self.elements[at] = parent._replace(content="")
        self.elements[at + 1 : at + 1] = children


def _constrained(one: Element, row: Row) -> Element:
    changes: dict[str, object] = {}
    if row.least is not None:
        changes["least"] = row.least
    if row.most is not None:
        changes["most"] = row.most
    for name in ("types", "set", "slicing", "words"):
        if found := getattr(row, name):
            changes[name] = found
    if row.values:
        changes["binding"] = Binding("required", row.values)
    if row.rules:
        changes["rules"] = (*one.rules, *row.rules)
    return one._replace(**changes)  # type: ignore[arg-type]
