"""What an oracle says when it dislikes something."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Complaint:
    """``oracle`` names the judge, ``where`` a path such as ``Bundle.entry[3].resource.status``."""

    oracle: str
    where: str
    message: str

    def __str__(self) -> str:
        return f"[{self.oracle}] {self.where}: {self.message}"
