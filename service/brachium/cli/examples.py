"""Where the examples lie: inside the installed package, else in the checkout."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import brachium


@dataclass(frozen=True, slots=True)
class Example:
    """One example exam; those in the folder ``refused`` have to be refused."""

    path: Path
    refused: bool

    @property
    def name(self) -> str:
        """Its name for people."""
        return f"refused/{self.path.stem}" if self.refused else self.path.stem


def folder() -> Path:
    """Return the folder of examples; ``FileNotFoundError`` when there is none."""
    package = Path(brachium.__file__).resolve().parent
    for place in (package / "examples", package.parents[1] / "examples"):
        if place.is_dir():
            return place
    raise FileNotFoundError("the examples are not installed")


def examples() -> list[Example]:
    """Return every example, accepted ones first."""
    where = folder()
    good = [Example(path, refused=False) for path in sorted(where.glob("*.json"))]
    bad = [Example(path, refused=True) for path in sorted((where / "refused").glob("*.json"))]
    return good + bad
