"""Canonical URIs of FHIR R4 (4.0.1) and HL7 terminology that coding needs."""

LOINC = "http://loinc.org"
SNOMED = "http://snomed.info/sct"
UCUM = "http://unitsofmeasure.org"

_HL7 = "http://terminology.hl7.org/CodeSystem/"
OBSERVATION_CATEGORY = _HL7 + "observation-category"
INTERPRETATION = _HL7 + "v3-ObservationInterpretation"
YES_NO = _HL7 + "v2-0136"
ABSENT_REASON = _HL7 + "data-absent-reason"
RANGE_MEANING = _HL7 + "referencerange-meaning"
DATA_OPERATION = _HL7 + "v3-DataOperation"
PARTICIPANT_TYPE = _HL7 + "provenance-participant-type"

_EXTENSION = "http://hl7.org/fhir/StructureDefinition/"
BODY_POSITION = _EXTENSION + "observation-bodyPosition"
DEVICE_CODE = _EXTENSION + "observation-deviceCode"
STATUS_REASON = _EXTENSION + "event-statusReason"
LATERALITY = _EXTENSION + "observation-structureLaterality"
ORDINAL = _EXTENSION + "ordinalValue"

OBSERVATION_STATUS = "http://hl7.org/fhir/observation-status"
REPORT_STATUS = "http://hl7.org/fhir/diagnostic-report-status"
RESPONSE_STATUS = "http://hl7.org/fhir/questionnaire-answers-status"
GENDER = "http://hl7.org/fhir/administrative-gender"

# R4 Observation 10.1.4.9: what our reasons are called in data-absent-reason
DATA_ABSENT = {
    "not-tested": "not-performed",
    "declined": "asked-declined",
    "not-applicable": "not-applicable",
}

# concept-map-equivalence codes that let the target stand for the source: a narrower target would
# claim more than was found. inexact is for codes that fit in one situation only (column when)
STANDS_FOR = frozenset({"equal", "equivalent", "wider", "subsumes", "inexact"})


class OwnUrls:
    """URLs under the canonical base of this service."""

    def __init__(self, canonical: str) -> None:
        self.concepts = f"{canonical}/CodeSystem/arm-exam"
        self.service = f"{canonical}/service"
        self.payload = f"{canonical}/payload-sha-256"
        self._canonical = canonical

    def scale(self, scale: str) -> str:
        """The code system of one scale."""
        return f"{self._canonical}/CodeSystem/{scale}"

    def definition(self, name: str) -> str:
        """The URL of one of our extensions."""
        return f"{self._canonical}/StructureDefinition/{name}"
