"""Real grip trials as exams: NHANES 2011-2014 (CDC/NCHS, US public domain).

14,984 examined people, six dynamometer trials each in kilograms, with sex, age in years, hand
dominance, pain by hand and the technician's word on each trial. Statistical use only; the sequence
number of the public file serves as identifier and nobody is re-identified. Nothing is made up: a
birth date is given to the year only, because age is all that the file tells, and a hand without
any trial goes in as not tested.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import orjson

SYSTEM = "https://survey.example.org"
FILE = "nhanes_grip_extract.csv"
EXAMINED = {"2011-2012": 2012, "2013-2014": 2014}
SEX = {"M": "male", "F": "female"}
DOMINANT = {"right": "right", "left": "left", "both": "ambidextrous"}
TRIALS = (1, 2, 3)


def people(shared: Path) -> Iterator[dict[str, str]]:
    """Yield one row of the public file per person."""
    with (shared / "data" / FILE).open(encoding="utf-8", newline="") as lines:
        yield from csv.DictReader(lines)


def exam(person: dict[str, str]) -> dict[str, Any]:
    """Return the person's grip test as an exam in the service's own JSON."""
    year = EXAMINED[person["cycle"]]
    return {
        "identifier": {"system": f"{SYSTEM}/exam", "value": person["seqn"]},
        "status": "final",
        "effective": f"{year}-07-01T12:00:00Z",
        "patient": {
            "identifier": {"system": f"{SYSTEM}/person", "value": person["seqn"]},
            "birthDate": str(year - int(person["age_years"])),
            "sex": SEX[person["sex"]],
            "dominantHand": DOMINANT[person["dominant"]],
        },
        "examiner": {"identifier": {"system": f"{SYSTEM}/staff", "value": "technician"}},
        "facility": {"identifier": {"system": f"{SYSTEM}/site", "value": "mobile-centre"}},
        "findings": [_hand(person, "right", "R"), _hand(person, "left", "L")],
    }


def posted(person: dict[str, str]) -> bytes:
    """Return the request body, with every number in the digits of the public file."""
    return orjson.dumps(exam(person), default=lambda number: orjson.Fragment(str(number)))


def _hand(person: dict[str, str], side: str, letter: str) -> dict[str, Any]:
    finding: dict[str, Any] = {
        "key": f"grip-{side}",
        "kind": "strength",
        "joint": "hand",
        "test": "grip",
        "side": side,
        "method": "dynamometer",
        "position": "standing",
    }
    done = [number for number in TRIALS if person[f"{letter}{number}_kg"]]
    if not done:
        return finding | {"absent": {"reason": "not-tested"}}
    finding["trials"] = [
        {"value": Decimal(person[f"{letter}{number}_kg"]), "unit": "kg"} for number in done
    ]
    if person[f"pain_{side}"] == "yes":
        finding["limitedBy"] = ["pain"]
    remarks = _remarks(person, letter, done)
    return finding | ({"note": remarks} if remarks else {})


def _remarks(person: dict[str, str], letter: str, done: list[int]) -> str:
    missing = [f"Trial {number} not recorded." for number in TRIALS if number not in done]
    doubted = [
        f"Trial {number} marked by the technician as possibly not a full trial."
        for number in done
        if person[f"{letter}{number}_effort"] == "questionable"
    ]
    return " ".join(missing + doubted)
