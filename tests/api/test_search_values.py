"""Values of search parameters, read without a server (matrix SRC-05..07, SRC-20, SRC-22)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from brachium.api.search_dates import period
from brachium.api.search_numbers import amount
from brachium.api.search_parameters import OBSERVATION, Parameter
from brachium.api.search_values import MOST_ALTERNATIVES, matches, split, unescaped
from brachium.store.criteria import Code, Is, NoSystem, System, Text

BASE = "https://exams.example.org/arm/fhir"
BY_NAME = {one.name: one for one in OBSERVATION}
TOKEN, REFERENCE = BY_NAME["identifier"], BY_NAME["performer"]


def read(parameter: Parameter, value: str):
    return matches(parameter, value, BASE)


@pytest.mark.parametrize(
    ("value", "found"),
    [
        ("v", Code("v")),
        ("https://s|v", Is("https://s|v")),
        ("|v", NoSystem("v")),
        ("https://s|", System("https://s")),
        (r"https://s|a\,b", Is("https://s|a,b")),
        (r"https://s|a\|b", Is("https://s|a|b")),
        (r"a\$b\\c", Code(r"a$b\c")),
    ],
)
def test_src_05_src_22_tokens_in_four_forms(value, found):
    assert read(TOKEN, value) == (found,)


@pytest.mark.parametrize("value", ["", "|", "a|b|c", r"a\b", "a\\", "with blank|v", ",", "a,"])
def test_src_05_src_22_what_is_no_token_is_refused(value):
    with pytest.raises(ValueError, match=r"system\|code|backslash"):
        read(TOKEN, value)


def test_src_22_commas_part_alternatives_unless_escaped():
    assert read(TOKEN, r"a\,b,c") == (Code("a,b"), Code("c"))
    assert split(r"a\\,b", ",") == [r"a\\", "b"]
    assert unescaped(r"a\\") == "a\\"
    many = ",".join("x" * (MOST_ALTERNATIVES + 1))
    with pytest.raises(ValueError, match="at most"):
        read(TOKEN, many)


@pytest.mark.parametrize(
    ("value", "found"),
    [
        ("Practitioner/1", ["Practitioner/1"]),
        ("1", ["Practitioner/1", "Organization/1"]),
        (f"{BASE}/Organization/1", ["Organization/1"]),
        ("https://elsewhere.example.org/fhir/Practitioner/1",) * 2,
    ],
)
def test_src_06_references_in_three_forms(value, found):
    found = [found] if isinstance(found, str) else found
    assert read(REFERENCE, value) == tuple(Is(one) for one in found)


@pytest.mark.parametrize(
    "value", ["", "Patient/1", "Practitioner/1/_history/2", "a b", "Practitioner/", "/1", "x" * 65]
)
def test_src_06_other_references_are_refused(value):
    with pytest.raises(ValueError, match="Practitioner or Organization"):
        read(REFERENCE, value)


@pytest.mark.parametrize(
    ("value", "low", "high"),
    [
        ("2026", "2026-01-01T00:00:00.000Z", "2027-01-01T00:00:00.000Z"),
        ("2026-12", "2026-12-01T00:00:00.000Z", "2027-01-01T00:00:00.000Z"),
        ("2024-02-29", "2024-02-29T00:00:00.000Z", "2024-03-01T00:00:00.000Z"),
        ("2026-03-02T23:30Z", "2026-03-02T23:30:00.000Z", "2026-03-02T23:31:00.000Z"),
        ("2026-03-02T00:15+01:00", "2026-03-01T23:15:00.000Z", "2026-03-01T23:16:00.000Z"),
        ("2026-03-02T00:15 01:00", "2026-03-01T23:15:00.000Z", "2026-03-01T23:16:00.000Z"),
        ("2026-03-02T10:15:07-05:30", "2026-03-02T15:45:07.000Z", "2026-03-02T15:45:08.000Z"),
        ("2026-03-02T10:15:07.5Z", "2026-03-02T10:15:07.500Z", "2026-03-02T10:15:07.600Z"),
        ("2026-03-02T10:15:07.123456Z", "2026-03-02T10:15:07.123Z", "2026-03-02T10:15:07.124Z"),
        ("2026-03-02T10:15", "2026-03-02T10:15:00.000Z", "2026-03-02T10:16:00.000Z"),
        ("9999", "9999-01-01T00:00:00.000Z", "9999-12-31T23:59:59.999Z"),
    ],
)
def test_src_07_every_precision_is_an_interval(value, low, high):
    for prefix in ("", "eq", "ne", "gt", "lt", "ge", "le", "sa", "eb"):
        assert period(prefix + value) == (prefix or "eq", low, high)
    about = period(f"ap{value}")
    assert about.low < low
    assert about.high > high or high.startswith("9999")


def test_src_07_approximately_has_as_much_room_again_on_both_sides():
    assert period("ap2026-03-02")[1:] == ("2026-03-01T00:00:00.000Z", "2026-03-04T00:00:00.000Z")
    assert period("ap0001")[1] == "0001-01-02T00:00:00.000Z"


@pytest.mark.parametrize(
    "value",
    [
        *("", "23 May", "26", "2026-13", "2026-02-30", "2026-3-2", "2026-03-02T10", "xx2026", "ge"),
        *("2026-03-02T24:00Z", "2026-03-02T10:15:60Z", "2026-03-02T10:15+15:00", "0000"),
        *("2026-03-02 10:15", "0001-01-01T00:00+01:00", "２０２６"),  # noqa: RUF001 - other digits
    ],
)
def test_src_07_src_11_a_bad_date_is_refused(value):
    with pytest.raises(ValueError, match="a date such as"):
        period(value)


@pytest.mark.parametrize(
    ("value", "low", "high"),
    [
        ("160", "159.5", "160.5"),
        ("12.50", "12.495", "12.505"),
        ("-5", "-5.5", "-4.5"),
        ("5.4e-3", "0.00535", "0.00545"),
        ("ne160", "159.5", "160.5"),
        ("ap160", "144", "176"),
        ("ap0", "-0.5", "0.5"),
        *((f"{prefix}160", "160", "160") for prefix in ("gt", "lt", "ge", "le", "sa", "eb")),
    ],
)
def test_src_20_a_number_is_the_interval_its_digits_leave_open(value, low, high):
    found = amount(value, [])
    assert (found.low, found.high) == (Decimal(low), Decimal(high))


def test_src_20_quantities_name_their_unit_or_not():
    parameter = BY_NAME["value-quantity"]
    units = {"160": ("", ""), "160||deg": ("", "deg"), "160|http://u|deg": ("http://u", "deg")}
    for value, unit in units.items():
        (found,) = read(parameter, value)
        assert (found.system, found.code) == unit
    for value in ("", "deg", "160|deg", "1|2|3|4", "1e999", "NaN", "Infinity", "xx1", "1,"):
        with pytest.raises(ValueError, match="a number such as"):
            read(parameter, value)


def test_ids_uris_and_texts():
    of = lambda kind, name="x": Parameter(name, kind, "")  # noqa: E731 - three words in one place
    assert read(of("token", "_id"), "a,b-1") == (Is("a"), Is("b-1"))
    assert read(of("uri"), "urn:x") == (Is("urn:x"),)
    assert read(of("string"), "Arm ex") == (Text("Arm ex"),)
    for parameter, value in (
        (of("token", "_id"), "a b"),
        (of("uri"), "a b"),
        (of("uri"), ""),
        (of("string"), " "),
    ):
        with pytest.raises(ValueError, match=r"ids of|URI|beginning"):
            read(parameter, value)
