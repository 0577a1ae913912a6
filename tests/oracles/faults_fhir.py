"""Faults against FHIR itself: structure, bindings, invariants, references, emptiness."""

from __future__ import annotations

from tests.oracles import reading
from tests.oracles.book import LOINC, Book
from tests.oracles.definitions import Json
from tests.oracles.planting import absent, fault, first_resource, measured, panel

# Structure and data types


@fault
def unknown_element(bundle: Json, _: Book) -> None:
    measured(bundle)["laterality"] = "left"


@fault
def unknown_element_deep_inside(bundle: Json, _: Book) -> None:
    measured(bundle)["valueQuantity"]["precision"] = 1


@fault
def code_missing(bundle: Json, _: Book) -> None:
    del measured(bundle)["code"]


@fault
def status_missing(bundle: Json, _: Book) -> None:
    del measured(bundle)["status"]


@fault
def list_where_one_belongs(bundle: Json, _: Book) -> None:
    observation = measured(bundle)
    observation["code"] = [observation["code"]]


@fault
def two_values(bundle: Json, _: Book) -> None:
    measured(bundle)["valueString"] = "150 degrees"


@fault
def no_such_day(bundle: Json, _: Book) -> None:
    measured(bundle)["effectiveDateTime"] = "2026-02-30T10:15:00+01:00"


@fault
def time_without_offset(bundle: Json, _: Book) -> None:
    measured(bundle)["effectiveDateTime"] = "2026-03-02T10:15:00"


@fault
def instant_without_time(bundle: Json, _: Book) -> None:
    measured(bundle)["issued"] = "2026-03-02"


@fault
def negative_unsigned_number(bundle: Json, _: Book) -> None:
    bundle["type"], bundle["total"] = "searchset", -1


@fault
def number_as_text(bundle: Json, _: Book) -> None:
    quantity = measured(bundle)["valueQuantity"]
    quantity["value"] = str(quantity["value"])


@fault
def extension_with_the_wrong_type(bundle: Json, _: Book) -> None:
    extension = {"url": reading.STATUS_REASON, "valueString": "pain"}
    measured(bundle).setdefault("extension", []).append(extension)


@fault
def extension_that_nobody_defined(bundle: Json, book: Book) -> None:
    url = f"{book.canonical}/StructureDefinition/exam-notes"
    measured(bundle).setdefault("extension", []).append({"url": url, "valueString": "seen"})


@fault
def element_of_a_later_release(bundle: Json, _: Book) -> None:
    measured(bundle)["bodyStructure"] = {"display": "Right shoulder"}


@fault
def resource_of_no_release(bundle: Json, _: Book) -> None:
    measured(bundle)["resourceType"] = "ArmFinding"


# Required bindings and codes


@fault
def status_outside_the_list(bundle: Json, _: Book) -> None:
    measured(bundle)["status"] = "done"


@fault
def report_status_outside_the_list(bundle: Json, _: Book) -> None:
    first_resource(bundle, "DiagnosticReport")["status"] = "finished"


@fault
def bundle_type_outside_the_list(bundle: Json, _: Book) -> None:
    bundle["type"] = "envelope"


@fault
def interpretation_that_does_not_exist(bundle: Json, _: Book) -> None:
    measured(bundle)["interpretation"][0]["coding"][0]["code"] = "LOW"


@fault
def display_of_an_hl7_code_altered(bundle: Json, _: Book) -> None:
    measured(bundle)["category"][0]["coding"][0]["display"] = "Examination"


@fault
def display_of_an_own_code_altered(bundle: Json, book: Book) -> None:
    _own_coding(measured(bundle), book)["display"] = "Shoulder adduction"


@fault
def own_code_not_in_the_tables(bundle: Json, book: Book) -> None:
    _own_coding(measured(bundle), book)["code"] = "shoulder-shrug-rom-sideways"


@fault
def guessed_standard_code(bundle: Json, _: Book) -> None:
    measured(bundle)["code"]["coding"].append({"system": LOINC, "code": "99999-9"})


@fault
def unit_of_another_system(bundle: Json, _: Book) -> None:
    measured(bundle)["valueQuantity"]["system"] = "urn:iso:std:iso:1000"


@fault
def unit_that_is_not_in_the_tables(bundle: Json, _: Book) -> None:
    measured(bundle)["valueQuantity"]["code"] = "degrees"


@fault
def unit_code_without_a_system(bundle: Json, _: Book) -> None:
    del measured(bundle)["valueQuantity"]["system"]


def _own_coding(observation: Json, book: Book) -> Json:
    coded: list[Json] = observation["code"]["coding"]
    return next(coding for coding in coded if coding["system"] == book.own)


# HL7's invariants


@fault
def obs_3_range_without_limits_or_text(bundle: Json, _: Book) -> None:
    wanted = {"low", "high", "text"}
    kept = measured(bundle)["referenceRange"][0]
    for key in wanted & kept.keys():
        del kept[key]
    kept["type"] = {"text": "normal"}


@fault
def obs_6_value_and_absent_reason(bundle: Json, _: Book) -> None:
    measured(bundle)["dataAbsentReason"] = absent(bundle)["dataAbsentReason"]


@fault
def obs_7_component_with_the_code_of_the_whole(bundle: Json, _: Book) -> None:
    observation = measured(bundle)
    part = {"code": observation["code"], "valueQuantity": observation["valueQuantity"]}
    observation.setdefault("component", []).append(part)


@fault
def ele_1_empty_object(bundle: Json, _: Book) -> None:
    measured(bundle)["method"] = {}


@fault
def ext_1_extension_without_value(bundle: Json, _: Book) -> None:
    bare = {"url": "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"}
    measured(bundle).setdefault("extension", []).append(bare)


@fault
def per_1_period_that_ends_before_it_starts(bundle: Json, _: Book) -> None:
    period = {"start": "2026-03-02T11:00:00+01:00", "end": "2026-03-02T10:00:00+01:00"}
    measured(bundle)["identifier"][0]["period"] = period


@fault
def org_1_organization_without_identity(bundle: Json, _: Book) -> None:
    url = "urn:uuid:0b1f1d2e-9b1f-5c1f-8a52-0a61ec9cbb01"
    request = {"method": "POST", "url": "Organization"}
    resource = {"resourceType": "Organization", "active": True}
    entry = {"fullUrl": url, "resource": resource}
    bundle["entry"].append(entry | ({"request": request} if _is_transaction(bundle) else {}))


@fault
def dom_3_contained_and_never_used(bundle: Json, _: Book) -> None:
    spare = {"resourceType": "Practitioner", "id": "spare", "active": True}
    measured(bundle)["contained"] = [spare]


@fault
def bdl_1_total_in_the_wrong_bundle(bundle: Json, _: Book) -> None:
    bundle["total"] = len(bundle["entry"])


@fault
def bdl_2_search_in_the_wrong_bundle(bundle: Json, _: Book) -> None:
    bundle["entry"][0]["search"] = {"mode": "match"}


@fault
def bdl_3_request_missing_or_out_of_place(bundle: Json, _: Book) -> None:
    if _is_transaction(bundle):
        del bundle["entry"][0]["request"]
    else:
        bundle["entry"][0]["request"] = {"method": "POST", "url": "Patient"}


@fault
def bdl_7_same_full_url_twice(bundle: Json, _: Book) -> None:
    bundle["entry"][3]["fullUrl"] = bundle["entry"][2]["fullUrl"]


@fault
def bdl_8_versioned_full_url(bundle: Json, _: Book) -> None:
    bundle["entry"][0]["fullUrl"] = "https://a.example.org/fhir/Patient/1/_history/1"


@fault
def bdl_9_document_without_identifier(bundle: Json, _: Book) -> None:
    _make_document(bundle)
    del bundle["identifier"]


@fault
def bdl_10_document_without_timestamp(bundle: Json, _: Book) -> None:
    _make_document(bundle)
    bundle.pop("timestamp", None)


@fault
def bdl_11_document_without_composition(bundle: Json, _: Book) -> None:
    _make_document(bundle)


@fault
def txt_1_script_in_the_narrative(bundle: Json, _: Book) -> None:
    _narrative(bundle, "<p>seen</p><script>alert(1)</script>")


@fault
def txt_1_event_handler_in_the_narrative(bundle: Json, _: Book) -> None:
    _narrative(bundle, '<p onclick="alert(1)">seen</p>')


@fault
def narrative_that_is_not_xml(bundle: Json, _: Book) -> None:
    _narrative(bundle, "<p>angle < 90")


@fault
def report_without_narrative(bundle: Json, _: Book) -> None:
    del first_resource(bundle, "DiagnosticReport")["text"]


def _narrative(bundle: Json, inside: str) -> None:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml">{inside}</div>'
    first_resource(bundle, "DiagnosticReport")["text"]["div"] = div


def _is_transaction(bundle: Json) -> bool:
    return bool(bundle["type"] == "transaction")


def _make_document(bundle: Json) -> None:
    bundle["type"] = "document"
    bundle["identifier"] = {"system": "https://a.example.org/doc", "value": "1"}
    bundle["timestamp"] = "2026-03-02T10:31:07.500+01:00"
    for entry in bundle["entry"]:
        entry.pop("request", None)


# References


@fault
def subject_that_is_no_patient(bundle: Json, _: Book) -> None:
    observation = measured(bundle)
    observation["subject"] = dict(observation["performer"][0])


@fault
def subject_missing(bundle: Json, _: Book) -> None:
    del measured(bundle)["subject"]


@fault
def result_that_is_no_observation(bundle: Json, _: Book) -> None:
    report = first_resource(bundle, "DiagnosticReport")
    report["result"].append(dict(report["subject"]))


@fault
def reference_that_leads_nowhere(bundle: Json, _: Book) -> None:
    nowhere = "urn:uuid:00000000-0000-5000-8000-000000000000"
    panel(bundle)["hasMember"][0]["reference"] = nowhere


@fault
def reference_to_a_missing_contained_resource(bundle: Json, _: Book) -> None:
    measured(bundle)["device"] = {"reference": "#goniometer"}


# Emptiness (NEG-08)


@fault
def empty_array(bundle: Json, _: Book) -> None:
    measured(bundle)["note"] = []


@fault
def empty_string(bundle: Json, _: Book) -> None:
    measured(bundle)["code"]["text"] = ""


@fault
def null_value(bundle: Json, _: Book) -> None:
    measured(bundle)["method"] = None
