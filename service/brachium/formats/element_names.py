"""Names of elements that may be told in a problem.

A member name that FHIR R4 does not have could be anything, patient data included, so the place of a
problem then ends before it. Choices are named as in FHIRPath: ``value`` for ``valueQuantity``.
"""

from __future__ import annotations

import re

_CHOICE = re.compile(r"(value|effective|occurred|deceased|multipleBirth)[A-Z][A-Za-z0-9]*")
_ELEMENTS = """
    active activity address agent answer author authored basedOn birthDate bodySite category code
    coding communication comparator component conclusion conclusionCode contact contained
    contentType dataAbsentReason data definition derivedFrom device display div docStatus encounter
    end entity entry extension family focus fullUrl gender generalPractitioner given hasMember high
    id identifier ifMatch ifModifiedSince ifNoneExist ifNoneMatch image imagingStudy implicitRules
    interpretation issued item language lastUpdated line link linkId location low
    managingOrganization maritalStatus media meta method modifierExtension name note onBehalfOf
    organization origin other partOf performer period photo policy prefix presentedForm profile
    qualification questionnaire reason recorded reference referenceRange rel relation request
    resource response result resultsInterpreter role search security signature source specimen
    start status subject suffix system tag target telecom text timestamp total type unit url use
    userSelected value version versionId what who
"""
_NAMES = frozenset(_ELEMENTS.split())


def told(place: str, name: str) -> str:
    """Return ``place`` with the element in it, or ``place`` alone for a name not to be told."""
    choice = _CHOICE.fullmatch(name)
    known = choice[1] if choice else name
    return f"{place}.{known}" if choice or known in _NAMES else place
