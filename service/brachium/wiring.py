"""Settings to parts: everything is built here, once, and handed to those who need it."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from importlib import metadata
from typing import TYPE_CHECKING

import orjson

from brachium.assess.options import AssessOptions
from brachium.coding.audit_event import AuditEvents
from brachium.coding.options import CodingOptions
from brachium.coding.periods import instant
from brachium.coding.searched import searched
from brachium.exam.rule import ModelOptions
from brachium.export import Export, Framer
from brachium.intake import Intake
from brachium.intake.desk import Bench, Desk
from brachium.security.heads import is_signed, new_key, public_part, read_key, signed
from brachium.store.isolated import IsolatedStore
from brachium.store.sqlite import FoundBy, SqliteStore
from brachium.tables.load import load
from brachium.trend import Trends

if TYPE_CHECKING:
    from pathlib import Path

    from joserfc.jwk import ECKey

    from brachium.records import AuditHead
    from brachium.settings import Settings
    from brachium.store.book import ClientBook
    from brachium.store.jobs import JobBook
    from brachium.store.port import Store
    from brachium.tables.load import Tables

Clock = Callable[[], str]


def utc_now() -> str:
    """Return the present as a FHIR R4 instant in UTC with milliseconds."""
    return instant(datetime.now(UTC))


@dataclass(frozen=True)
class Parts:
    """The parts of one running service."""

    settings: Settings
    tables: Tables
    store: Store
    clock: Clock
    intake: Intake
    export: Export
    clients: ClientBook
    jobs: JobBook
    heads: Heads

    @property
    def trends(self) -> Trends:
        """Works out how a patient's measures change from exam to exam."""
        return Trends(self.tables, self.store)

    def isolated(self, whose: Callable[[], str]) -> Parts:
        """Return parts that see and store only what belongs to whoever is served (SEC-12).

        ``whose`` returns the id of its Organization, empty for one that sees everything.
        """
        store = IsolatedStore(self.store, whose)
        desk = replace(self.intake.desk, store=store, whose=whose)
        export = replace(self.export, store=store)
        return replace(self, store=store, intake=Intake(desk), export=export)

    def close(self) -> None:
        """Let go of the store; the parts are of no use afterwards."""
        self.store.close()


@dataclass(frozen=True)
class Tools:
    """What can be done with an exam without keeping it."""

    settings: Settings
    bench: Bench
    framer: Framer


def tools(settings: Settings, clock: Clock = utc_now) -> Tools:
    """Read the tables and build what checks, codes and frames; raises ``BrokenTables``."""
    tables = load(settings.tables, settings.overlay)
    model = ModelOptions(settings.plus_minus_grades, settings.convert_units)
    judging = AssessOptions(settings.memory_references)
    bench = Bench(tables, clock, model, coding_options(settings), judging)
    framer = Framer(tables, settings.public_base, settings.canonical, judging=judging)
    return Tools(settings, bench, framer)


def build(settings: Settings, clock: Clock = utc_now) -> Parts:
    """Build every part; raises ``BrokenTables``, or what opening the database raises."""
    made = tools(settings, clock).bench
    store = opened(settings)
    desk = Desk(made.tables, made.clock, made.model, made.coding, made.judging, store)
    base, canonical = settings.public_base, settings.canonical
    export = Export(made.tables, base, canonical, store, judging=made.judging)
    return Parts(
        settings,
        made.tables,
        store,
        clock,
        Intake(desk),
        export,
        store.clients,
        store.jobs,
        heads(settings, store, clock),
    )


@dataclass(frozen=True)
class Heads:
    """Signs where the audit trail ends, with the key of this service."""

    store: Store
    key: ECKey
    clock: Clock

    def head(self) -> AuditHead:
        """Return the end of the audit as it is now, signed."""
        return signed(replace(self.store.head(), at=self.clock()), self.key)

    def checkpoint(self) -> AuditHead:
        """Return the signed end of the audit, and keep it beside the chain too."""
        head = self.head()
        if head.number:
            self.store.checkpoint(head)
        return head

    def finish(self) -> None:
        """Keep the signed end of the audit, unless it is kept already."""
        # the entry behind the one that a kept head is about tells of that head
        if self.store.head().number > self.store.checkpointed() + 1:
            self.checkpoint()

    def text(self, head: AuditHead) -> bytes:
        """Return a head as JSON text, with the public key that checks its signature."""
        return orjson.dumps({**asdict(head), "key": public_part(self.key)})

    def is_signed(self, head: AuditHead) -> bool:
        """Tell whether a head is signed with this key."""
        return is_signed(head, self.key)


def heads(settings: Settings, store: Store, clock: Clock = utc_now) -> Heads:
    """Return what signs for a store; its key is made when there is none."""
    return Heads(store, read_key(_key_text(key_file(settings))), clock)


def key_file(settings: Settings) -> Path:
    """Return where the key lies that signs the heads of the audit."""
    if settings.audit_key is not None:
        return settings.audit_key
    return settings.database.with_name(f"{settings.database.name}.audit-key.json")


def _key_text(path: Path) -> bytes:
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return path.read_bytes()
    text = new_key()
    with os.fdopen(handle, "wb") as file:
        file.write(text)
    return text


def opened(settings: Settings) -> SqliteStore:
    """Open the store, with what its indexes are made of."""
    events = AuditEvents(settings.canonical, settings.public_base)
    return SqliteStore(settings.database, FoundBy(searched, events.terms, events.text))


def coding_options(settings: Settings) -> CodingOptions:
    """Return how this site codes."""
    return CodingOptions(
        canonical=settings.canonical,
        service=metadata.version("brachium"),
        side=settings.side,
        snomed=settings.snomed,
        unverified=settings.unverified,
    )
