"""The JSON Schema: a proper one, with the words of the tables, refusing what it can."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from tests.exam.builders import end, exam, grade, grip, move, part, read, sign, tables, to_json

from brachium.exam.model import ModelOptions
from brachium.exam.schema import json_schema


def validator(**options):
    schema = json_schema(tables(), ModelOptions(**options))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


VALIDATOR = validator()
PIP = {"joint": "finger-pip", "motion": "flexion"}


def accepts(posted, schema=VALIDATOR):
    return schema.is_valid(json.loads(to_json(posted)))


def test_exm_11_schema_is_json_with_a_relative_id():
    schema = json.loads(to_json(json_schema(tables())))
    assert schema["$schema"].endswith("2020-12/schema")
    assert "://" not in schema["$id"]
    assert schema["title"]
    assert tables().edition in schema["description"]


GOOD = exam(
    move(150, method="goniometer", position="sitting", limitedBy=["pain"], note="é"),
    end("short-of-straight", 20),
    sign(severity=6),
    grade("4+"),
    grip(34.4, 35),
    move(40, **PIP, digit="ring"),
    part("inspection", digit=None),
    move(motion="flexion", absent={"reason": "not-tested", "because": "pain"}),
)


def test_exm_11_schema_and_service_accept_the_same_good_exam():
    assert accepts(GOOD)
    assert read(GOOD).exam is not None


@pytest.mark.parametrize(
    "finding",
    [
        move(150, angel=1),
        move(150, joint="knee"),
        move(150, motion="pronation"),
        move(150, side="middle"),
        move(150, digit="index"),
        move(40, **PIP, digit="thumb"),
        move(40, **PIP),
        move(40, motion="external-rotation"),
        move(40, armPosition="at-side"),
        move(150, method="dynamometer"),
        move(150, position="at-side"),
        move(150, limitedBy=["pain", "pain"]),
        move(150, absent={"reason": "declined"}),
        move(),
        move(angle={"value": 150, "unit": "°"}),
        move(angle={"value": "150", "unit": "deg"}),
        move(angle={"value": 1, "unit": "rad"}),
        move(5, joint="elbow", motion="extension"),
        end("straight", 5),
        end("beyond-straight"),
        end("beyond-straight", 0),
        end(None, 5),
        sign(site="olecranon"),
        sign(sign="wound"),
        sign(None),
        sign(severity=11),
        sign(sign="warmth", severity=3),
        sign(False, kind="inspection", site="clavicle", sign="contour-asymmetry"),
        grade("6"),
        grade("5", test="grip"),
        grade(None),
        grip(),
        grip(30, side="both"),
        grip(30, unit="deg"),
        grip(30, grade="4"),
        part("strength", outcome=None),
        move(150, note=" "),
        move(150, key="a/b"),
    ],
)
def test_exm_11_schema_and_service_refuse_the_same_bad_findings(finding):
    assert read(exam(finding)).exam is None
    assert not accepts(exam(finding))


def test_exm_12_schema_follows_the_setting_for_conversion():
    posted = exam(move(angle={"value": 2.6, "unit": "rad"}))
    assert accepts(posted, validator(convert_units=True))
    assert not accepts(posted)


def test_exm_09_schema_follows_the_setting_for_plus_and_minus():
    assert not accepts(exam(grade("4+")), validator(plus_minus_grades=False))
    assert accepts(exam(grade("4")), validator(plus_minus_grades=False))
