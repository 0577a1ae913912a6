"""The examples and what is kept beside them.

``python -m tests.examples.golden`` writes the bundles and the expected problems anew, with the
program as it stands. Read the difference before committing it: it is what every receiver of these
exams would notice.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path

import jiter
import orjson

from brachium.cli import main
from brachium.coding.response_writing import write_response
from brachium.exam.findings import Exam
from brachium.exam.reading import examine
from brachium.exam.rule import ModelOptions
from brachium.settings import Settings
from brachium.tables.load import load
from brachium.tables.rows import Tables

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "examples"
EXAMS = sorted(FOLDER.glob("*.json"))
REFUSED = sorted((FOLDER / "refused").glob("*.json"))
# kept as responses to the Questionnaire too
ANSWERED = [FOLDER / "elbow-after-fracture.json"]
CANONICAL = Settings().canonical
BUNDLE_TYPES = ("collection", "transaction")
NAMES = [path.stem for path in EXAMS]
REFUSED_NAMES = [path.stem for path in REFUSED]


def bundle(exam: Path, kind: str) -> tuple[int, bytes]:
    """Exit code and standard output of ``brachium bundle EXAM --type KIND``."""
    output = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="")
    with contextlib.redirect_stdout(output):
        code = main(["bundle", str(exam), "--type", kind])
    output.flush()
    return code, output.buffer.getvalue()


def bundle_file(exam: Path, kind: str) -> Path:
    return FOLDER / "bundles" / f"{exam.stem}.{kind}.json"


def problems(exam: Path, tables: Tables) -> str:
    """What the service says about an exam, one problem a line, without the wording."""
    found = examine(exam.read_bytes(), tables, ModelOptions()).problems
    rows = [
        {"severity": one.severity.value, "code": one.code, "pointer": one.pointer} for one in found
    ]
    return "[\n" + ",\n".join(f"  {json.dumps(row)}" for row in rows) + "\n]\n" if rows else "[]\n"


def problems_file(exam: Path) -> Path:
    return FOLDER / "problems" / f"{exam.stem}.json"


def response(exam: Path, tables: Tables) -> bytes:
    """The exam as a form filler sends it: a QuestionnaireResponse, indented to be read."""
    content = Exam.model_validate(jiter.from_json(exam.read_bytes(), float_mode="decimal"))
    text = write_response(content, tables, CANONICAL)
    parsed = jiter.from_json(text, float_mode="lossless-float")
    return orjson.dumps(parsed, default=_digits, option=orjson.OPT_INDENT_2) + b"\n"


def _digits(value: object) -> orjson.Fragment:
    return orjson.Fragment(bytes(value))


def response_file(exam: Path) -> Path:
    return FOLDER / "responses" / f"{exam.stem}.json"


def write() -> None:
    """Write every golden file anew."""
    tables = load()
    for folder in ("bundles", "problems", "responses"):
        (FOLDER / folder).mkdir(exist_ok=True)
    for exam in EXAMS:
        for kind in BUNDLE_TYPES:
            code, text = bundle(exam, kind)
            if code:
                sys.exit(f"{exam.name} is refused")
            bundle_file(exam, kind).write_bytes(text)
    for exam in ANSWERED:
        response_file(exam).write_bytes(response(exam, tables))
    for exam in EXAMS + REFUSED:
        problems_file(exam).write_text(problems(exam, tables), encoding="utf-8")


if __name__ == "__main__":
    write()
