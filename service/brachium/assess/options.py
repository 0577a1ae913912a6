"""What a site may switch on in the assessment."""

from __future__ import annotations

from dataclasses import dataclass

MEMORY = "memory"


@dataclass(frozen=True, slots=True)
class AssessOptions:
    """``memory_references``: use figures that nobody has read in their publication.

    Off by default. Every value made with them has evidence "memory" and says so.
    """

    memory_references: bool = False

    def allows(self, evidence: str) -> bool:
        """Tell whether a row with this evidence may take part."""
        return self.memory_references or evidence != MEMORY
