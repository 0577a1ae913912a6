"""Every template has the shape of FHIR, and the proof notices when one has not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.coding.coded import CANONICAL, code, options, tables
from tests.exam.builders import move

from brachium.coding.shape import faults, prove

CHOICES = [
    {},
    {"snomed": False},
    {"side": "site", "unverified": False},
    {"side": "code"},
]


@pytest.mark.parametrize("changes", CHOICES)
def test_obs_19_every_concept_has_the_shape_of_fhir(changes):
    assert prove(tables(), options(**changes)) == []


def test_a_concept_that_cannot_be_coded_is_a_fault():
    assert prove(replace(tables(), concepts={}), options())


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"status":"final"', b'"statuses":"final"'),
        (b'"code":{"coding"', b'"code":{"codings"'),
        (b'"value":150', b'"value":"a lot"'),
        (b'"subject":{"reference":"Patient/', b'"subject":{"reference":"Device/'),
    ],
)
def test_the_proof_of_shape_bites(old, new):
    resources = [
        one._replace(body=one.body.replace(old, new)) for one in code(move(150)).encoded.resources
    ]
    assert faults(code(move(150)).encoded.resources) == []
    assert faults(resources)


def test_the_canonical_base_is_a_setting():
    assert options().canonical == CANONICAL
