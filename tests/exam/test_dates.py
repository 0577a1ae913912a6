"""Calendar dates and the age between two of them."""

from __future__ import annotations

import pytest

from brachium.exam.dates import ages, real_day, real_moment

EXAM = "2026-03-02T10:15:00+01:00"


@pytest.mark.parametrize(
    ("birth", "expected"),
    [
        ("1969-04-11", (56, 56)),
        ("1969-03-02", (57, 57)),
        ("1969-03", (56, 57)),
        ("1969", (56, 57)),
        ("2026", (0, 0)),
        ("2026-03-02", (0, 0)),
        ("2026-03-03", None),
        ("2027", None),
        ("2024-02-29", (2, 2)),
        ("2026-02-30", None),
    ],
)
def test_ages_are_completed_years_and_a_span_when_the_day_is_unknown(birth, expected):
    assert ages(birth, EXAM) == expected


def test_born_on_the_29th_of_february_the_year_is_completed_in_march():
    assert ages("2024-02-29", "2025-02-28T10:00:00Z") == (0, 0)
    assert ages("2024-02-29", "2025-03-01T10:00:00Z") == (1, 1)


@pytest.mark.parametrize("text", ["2024-02-29", "1900-01", "1969"])
def test_exm_13_real_days(text):
    assert real_day(text)


@pytest.mark.parametrize("text", ["2023-02-29", "1900-13", "0000", "1900-00", "1969-04-31"])
def test_exm_13_days_that_do_not_exist(text):
    assert not real_day(text)


@pytest.mark.parametrize("offset", ["Z", "+00:00", "-00:00", "+14:00", "-14:00", "+05:45"])
def test_exm_13_offsets_up_to_fourteen_hours(offset):
    assert real_moment(f"2026-03-02T10:15:00{offset}")


@pytest.mark.parametrize("offset", ["", "+14:01", "-15:00", "+01:60", "+24:00"])
def test_exm_13_offsets_that_do_not_exist(offset):
    assert not real_moment(f"2026-03-02T10:15:00{offset}")
