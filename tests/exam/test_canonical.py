"""The canonical text: same content same bytes, another digit another digest."""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal

from tests.exam.builders import exam, grip, move, number, read, sign, to_json

from brachium.exam.canonical import canonical, digest


def text_of(posted, **options):
    examined = read(posted, **options)
    assert examined.exam is not None, examined.problems
    return canonical(examined.exam)


def test_exm_03_order_null_and_empty_lists_do_not_matter():
    first = exam(move(90), sign())
    second = {
        **dict(reversed(first.items())),
        "note": None,
        "findings": [
            {**first["findings"][1], "digit": None},
            {**first["findings"][0], "limitedBy": []},
        ],
    }
    assert text_of(first) == text_of(second)


def test_exm_04_another_value_digit_or_note_is_other_content():
    texts = {
        text_of(one)
        for one in (
            exam(move(90)),
            exam(move(91)),
            exam(move(Decimal("90.0"))),
            exam(move(90, note="a")),
            exam(move(90, note="a ")),
            exam(move(90), status="preliminary"),
            exam(move(90), effective="2026-03-02T09:15:00Z"),
        )
    }
    assert len(texts) == 7


def test_exm_03_text_is_the_exam_with_the_digits_as_written():
    posted = exam(move(Decimal("150.50"), limitedBy=["stiffness", "pain"]), grip(Decimal("12.50")))
    text = text_of(posted)
    assert b'"value":150.50' in text
    assert b'"value":12.50' in text
    assert b'["stiffness","pain"]' in text
    parsed = json.loads(text)
    assert parsed == json.loads(to_json(posted))
    assert list(parsed) == sorted(parsed)
    assert text_of(text) == text


def test_exm_03_small_numbers_have_no_exponent():
    assert b'"value":0.00000050' in text_of(exam(grip(number(Decimal("0.00000050")))))


def test_exm_12_converted_quantities_are_written_as_posted():
    posted = exam(move(angle={"value": 2.618, "unit": "rad"}))
    text = text_of(posted, convert_units=True)
    assert json.loads(text)["findings"][0]["angle"] == {"unit": "rad", "value": 2.618}


def test_exm_03_digest_is_sha_256_in_hex():
    assert digest(b"{}") == hashlib.sha256(b"{}").hexdigest()
