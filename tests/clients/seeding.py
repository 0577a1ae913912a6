"""Five hundred exams of forty patients, some of them corrected or withdrawn."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from brachium.settings import Settings
from brachium.wiring import build

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
EXAMS, PATIENTS = 500, 40
# small ones, so that seeding takes seconds
NAMES = ("draft", "hyperextending-elbow", "weak-right-arm")
CORRECTED, WITHDRAWN = 10, 17


def exam(number: int) -> dict[str, Any]:
    """One of the exams, under names of its own."""
    content: dict[str, Any] = json.loads(
        (EXAMPLES / f"{NAMES[number % len(NAMES)]}.json").read_text()
    )
    content["identifier"]["value"] = f"CL-{number:04}"
    content["patient"]["identifier"]["value"] = f"CLP-{number % PATIENTS:02}"
    day = date(2026, 1, 5) + timedelta(days=number // 5)
    content["effective"] = f"{day.isoformat()}T{8 + number % 9:02}:15:00+01:00"
    return content


def seed(database: Path) -> None:
    """Fill a database through the intake; every tenth exam is corrected, some are withdrawn."""
    parts = build(Settings(database=database))
    try:
        # several at a time share a commit to the disk
        with ThreadPoolExecutor(8) as writers:
            list(writers.map(lambda number: _take(parts.intake, number), range(EXAMS)))
    finally:
        parts.close()


def _take(intake: Any, number: int) -> None:
    content = exam(number)
    receipt = intake.receive(json.dumps(content).encode())
    assert receipt.exam is not None, receipt.problems
    version = 1
    if number % CORRECTED == 0:
        changed = json.dumps({**content, "note": "Read again."}).encode()
        version = intake.correct(receipt.exam.id, changed, "Read again.", 1).exam.version
    if number % WITHDRAWN == 0:
        assert intake.withdraw(receipt.exam.id, "Wrong person.", version).exam.version > version
