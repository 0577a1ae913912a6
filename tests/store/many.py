"""A store with many resources, put there in seconds through the store itself."""

from __future__ import annotations

from tests.store.exams import at, first, own, patient

from brachium.store.sqlite import SqliteStore

PER_EXAM, CODES, PATIENTS = 200, 25, 100


def exam(number: int, version: int = 1, size: int = PER_EXAM):
    """One exam of one of the patients, with a date of its own."""
    name = f"EX-{number}"
    common = {"patient": f"Patient/p{number % PATIENTS}", "category": "c|exam"}
    moment = at(number % 80_000)
    parts = [
        own(
            name,
            str(place),
            version=version,
            code=f"c|{place % CODES}",
            date=f"{moment}/{moment[:-2]}1Z",
            status="s|final" if place else "s|corrected",
            **common,
        )
        for place in range(size)
    ]
    return first(name, (patient(f"p{number % PATIENTS}"), *parts), recorded=at(number % 80_000))


def fill(store: SqliteStore, resources: int) -> None:
    """Add exams with so many resources of their own."""
    for number in range(resources // PER_EXAM):
        store.add(exam(number), None)
