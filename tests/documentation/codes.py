"""The README's table of codes: ``python -m tests.documentation.codes`` writes it anew."""

from __future__ import annotations

from pathlib import Path

from brachium.api.rules import listed
from brachium.exam.model import RULES

README = Path(__file__).resolve().parents[2] / "README.md"
HEADING = "| code | what it means | what to do |\n| --- | --- | --- |\n"


def table() -> str:
    """The rows as they have to stand in the README."""
    rows = (f"| `{row.code}` | {row.title} | {row.remedy} |" for row in listed(RULES))
    return HEADING + "".join(f"{row}\n" for row in rows)


def kept(text: str) -> tuple[str, str, str]:
    """What stands before the table in a text, the table, and what follows."""
    start = text.index(HEADING)
    end = text.index("\n\n", start) + 1
    return text[:start], text[start:end], text[end:]


def main() -> None:
    """Put the table of today into the README."""
    before, _, after = kept(README.read_text(encoding="utf-8"))
    README.write_text(before + table() + after, encoding="utf-8")


if __name__ == "__main__":
    main()
