"""A desk with the real tables, a store in memory and a clock that ticks when it is asked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache

from tests.intake.memory_store import MemoryStore

from brachium.assess.options import AssessOptions
from brachium.coding.options import CodingOptions
from brachium.exam.model import ModelOptions
from brachium.export import Export
from brachium.intake import Intake
from brachium.intake.desk import Desk
from brachium.tables.load import load

CANONICAL = "https://brachium.example.org/fhir"
BASE = "http://127.0.0.1:8321"


class Clock:
    """Every reading is a second later than the one before."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 9, 31, 7, 412000, tzinfo=UTC)

    def __call__(self) -> str:
        self.now += timedelta(seconds=1)
        return self.now.strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"


@cache
def tables():
    return load()


def intake(store=None, **coding) -> Intake:
    options = CodingOptions(canonical=CANONICAL, service="0.1.0", **coding)
    model = ModelOptions()
    judging = AssessOptions()
    return Intake(Desk(tables(), Clock(), model, options, judging, store or MemoryStore()))


def export(desk: Intake) -> Export:
    return Export(tables(), BASE, CANONICAL, desk.desk.store)
