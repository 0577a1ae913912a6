"""What became of one example, in words that fit on a screen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import orjson

from brachium.cli.examples import Example
from brachium.formats.lossless import parse

SHOWN = 4
# the code of the notice about a concept that has no standard code (TRM-04)
UNMAPPED = "unmapped-concept"
# what interpretation codes mean to a reader (HL7 v3 ObservationInterpretation)
WORDS = {"L": "low", "H": "high", "A": "abnormal"}


@dataclass(frozen=True, slots=True)
class Account:
    """The answer to one example: status, JSON body, and the collection bundle when accepted."""

    example: Example
    status: int
    body: dict[str, Any]
    bundle: bytes = b""

    @property
    def accepted(self) -> bool:
        """Whether the exam was stored."""
        return self.status in (200, 201)

    @property
    def refused(self) -> bool:
        """Whether a rule or the form refused it; any other error is a failure."""
        return self.status in (400, 422)

    @property
    def as_meant(self) -> bool:
        """Whether it went as the folder of the example says."""
        return self.refused if self.example.refused else self.status == 201

    def problems(self, severity: str) -> list[dict[str, str]]:
        """Return the problems of one severity."""
        return [one for one in self.body.get("problems", ()) if one["severity"] == severity]


def told(account: Account) -> Iterator[str]:
    """Yield the lines about one example."""
    if not account.accepted:
        yield f"{'refused' if account.refused else 'failed'} ({account.status})" + (
            "" if account.as_meant else " - NOT AS MEANT"
        )
        yield from _some([_reason(one) for one in account.problems("error")])
        return
    notable = list(_standing_out(account.bundle))
    notes = account.problems("information")
    unmapped = [one["message"] for one in notes if one["code"] == UNMAPPED]
    warnings = [f"warning: {_reason(one)}" for one in account.problems("warning")]
    yield (
        f"accepted ({account.body['status']}): findings {account.body['findings']}, "
        f"stand out {len(notable)}, warnings {len(warnings)}, "
        f"concepts without a standard code {len(unmapped)}, other notes "
        f"{len(notes) - len(unmapped)}" + ("" if account.as_meant else " - NOT AS MEANT")
    )
    yield from _some(notable)
    yield from _some(warnings)
    yield from _some(unmapped, 2)


def _reason(problem: dict[str, str]) -> str:
    return f"{problem['pointer'] or 'whole body'}: {problem['message']} {problem['remedy']}"


def _some(lines: list[str], most: int = SHOWN) -> Iterator[str]:
    """Yield the first lines and how many more there are: what is left out is said to be."""
    for line in lines[:most]:
        yield f"- {line}"
    if len(lines) > most:
        yield f"- and {len(lines) - most} more, all in the answer and the bundle"


def _standing_out(bundle: bytes) -> Iterator[str]:
    for entry in parse(bundle)["entry"]:
        resource = entry["resource"]
        for concept in resource.get("interpretation", ()):
            code = concept["coding"][0]["code"]
            if code in WORDS:
                yield f"{resource['code']['text']}: {_value(resource)}{WORDS[code]}"


def _value(resource: dict[str, Any]) -> str:
    quantity = resource.get("valueQuantity")
    if quantity:
        # the digits as they were measured
        number = orjson.dumps(
            quantity["value"], default=lambda value: orjson.Fragment(bytes(value))
        )
        return f"{number.decode()} {quantity['unit']}, "
    text = resource.get("valueCodeableConcept", {}).get("text")
    return f"{text}, " if text else ""
