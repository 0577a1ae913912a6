"""An exam of 120 findings to the bytes of its bundle, nothing kept."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import orjson
from fhir.resources.R4B.bundle import Bundle
from tests.benchmarks.rounds import Side, interleaved

from brachium.intake.receive import dry_run
from brachium.settings import Settings
from brachium.wiring import tools

EXAM = Path(__file__).parents[2] / "examples" / "full-arms.json"
ROUNDS = 9


def measure() -> list[str]:
    """Return the figures as lines of text."""
    made = tools(Settings())
    raw = EXAM.read_bytes()

    def ours() -> bytes:
        receipt = dry_run(made.bench, raw)
        return made.framer.framed(receipt.exam, receipt.resources)

    bundle = ours()
    structure = orjson.loads(bundle)
    times = interleaved(
        {
            "ours": Side(ours, 40),
            "floor": Side(lambda: orjson.dumps(structure), 400),
            "peer": Side(lambda: Bundle.model_validate(structure).model_dump_json(), 2),
        },
        ROUNDS,
    )
    findings = len(orjson.loads(raw)["findings"])
    size = Decimal(len(bundle)) / 1000
    return [
        f"in memory: {findings} findings, {len(structure['entry'])} resources, {size:.0f} kB",
        f"  ours  {times['ours'].median * 1e3:8.2f} ms",
        f"  floor {times['floor'].median * 1e3:8.2f} ms (orjson.dumps of the finished structure)",
        f"  peer  {times['peer'].median * 1e3:8.2f} ms (fhir.resources: validate and dump)",
        f"  ours over floor: {times['ours'].over(times['floor'])}, goal at most 6",
        f"  peer over ours:  {times['peer'].over(times['ours'])}, goal at least 60",
    ]
