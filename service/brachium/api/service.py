"""What every operation has at hand, built once from the parts."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from importlib import metadata
from typing import TYPE_CHECKING

from brachium.api.documents import Addresses
from brachium.api.metrics import Metrics
from brachium.api.sealed import Seal
from brachium.api.work import Work

if TYPE_CHECKING:
    from brachium.export import Export
    from brachium.intake import Intake
    from brachium.settings import Settings
    from brachium.store.port import Store
    from brachium.tables.gather import Tables
    from brachium.wiring import Parts


@dataclass(frozen=True)
class Service:
    """The parts of the service, the threads they run in, and the addresses they answer with."""

    parts: Parts
    work: Work
    metrics: Metrics = field(default_factory=Metrics)

    @property
    def settings(self) -> Settings:
        """The settings of this site."""
        return self.parts.settings

    @property
    def store(self) -> Store:
        """Where exams are kept."""
        return self.parts.store

    @property
    def tables(self) -> Tables:
        """The mapping tables."""
        return self.parts.tables

    @property
    def intake(self) -> Intake:
        """Takes exams in."""
        return self.parts.intake

    @property
    def export(self) -> Export:
        """Hands stored exams out."""
        return self.parts.export

    @cached_property
    def addresses(self) -> Addresses:
        """The public addresses."""
        return Addresses(self.settings.public_base)

    @cached_property
    def seal(self) -> Seal:
        """Seals the links between pages, with a key that outlives the process."""
        return Seal(lambda: self.store.secret("page-links"))

    @cached_property
    def version(self) -> str:
        """The version of the software."""
        return metadata.version("brachium")
