"""Faults against our own rules: what is valid FHIR and still misleads the reader."""

from __future__ import annotations

from tests.oracles import reading
from tests.oracles.book import SNOMED, Book
from tests.oracles.definitions import Json
from tests.oracles.planting import (
    NoPlaceError,
    absent,
    computed,
    difference,
    end_position,
    fault,
    first_observation,
    first_resource,
    graded,
    measured,
    panel,
    sided,
)


@fault
def msk_lat_1_side_wrong_in_the_words(bundle: Json, _: Book) -> None:
    site = measured(bundle)["bodySite"]
    site["text"] = _other(site["text"])


@fault
def msk_lat_1_side_wrong_in_the_code_text(bundle: Json, _: Book) -> None:
    code = measured(bundle)["code"]
    code["text"] = _other(code["text"])


@fault
def msk_lat_1_side_wrong_in_body_site(bundle: Json, book: Book) -> None:
    _set_laterality(sided(bundle, "right", book), "7771000")


@fault
def msk_lat_1_left_loinc_on_the_right(bundle: Json, book: Book) -> None:
    left, right = sided(bundle, "left", book), sided(bundle, "right", book)
    stated = [c for c in left["code"]["coding"] if book.sides.get((c["system"], c["code"]))]
    kept = [c for c in right["code"]["coding"] if not book.sides.get((c["system"], c["code"]))]
    right["code"]["coding"] = kept + stated


@fault
def msk_lat_1_no_side_at_all(bundle: Json, book: Book) -> None:
    observation = sided(bundle, "right", book)
    observation["bodySite"] = {"text": observation["bodySite"]["text"]}


@fault
def msk_lat_2_panel_of_one_side(bundle: Json, _: Book) -> None:
    _set_laterality(panel(bundle), "24028007")


@fault
def msk_ext_1_deficit_and_hyperextension(bundle: Json, book: Book) -> None:
    short = end_position(bundle, book, +1)
    beyond = end_position(bundle, book, -1)
    part = reading.component(beyond, "hyperextension-angle", book)
    short["component"].append(part)


@fault
def msk_ext_1_sign_turned(bundle: Json, book: Book) -> None:
    quantity = end_position(bundle, book, -1)["valueQuantity"]
    quantity["value"] = -quantity["value"]


@fault
def msk_ext_1_convention_not_stated(bundle: Json, book: Book) -> None:
    observation = end_position(bundle, book, +1)
    convention = reading.component(observation, "axis-convention", book)
    observation["component"] = [c for c in observation["component"] if c is not convention]


@fault
def msk_loinc_ext_standard_code_on_a_deficit(bundle: Json, book: Book) -> None:
    system, code = min(book.straight)
    coding = {"system": system, "code": code}
    end_position(bundle, book, +1)["code"]["coding"].append(coding)


@fault
def msk_abs_1_cancelled_without_reason(bundle: Json, _: Book) -> None:
    del absent(bundle)["dataAbsentReason"]


@fault
def msk_abs_1_reason_without_own_code(bundle: Json, book: Book) -> None:
    reason = absent(bundle)["dataAbsentReason"]
    reason["coding"] = [c for c in reason["coding"] if c["system"] != book.own]


@fault
def msk_abs_1_not_tested_but_final(bundle: Json, _: Book) -> None:
    absent(bundle)["status"] = "final"


@fault
def obs_03_nothing_measured_and_no_word_why(bundle: Json, _: Book) -> None:
    observation = measured(bundle)
    for key in ("valueQuantity", "interpretation", "referenceRange"):
        observation.pop(key, None)


@fault
def msk_der_1_sources_missing(bundle: Json, _: Book) -> None:
    del difference(bundle)["derivedFrom"]


@fault
def msk_der_1_difference_the_wrong_way_round(bundle: Json, _: Book) -> None:
    quantity = difference(bundle)["valueQuantity"]
    quantity["value"] = -quantity["value"]


@fault
def msk_der_1_source_changed_alone(bundle: Json, _: Book) -> None:
    sources = {r["reference"] for r in difference(bundle)["derivedFrom"]}
    for entry in bundle["entry"]:
        if sources & {entry["fullUrl"], _relative(entry["resource"])}:
            entry["resource"]["valueQuantity"]["value"] += 1
            return
    raise NoPlaceError


@fault
def msk_der_1_wrong_ratio(bundle: Json, book: Book) -> None:
    part = reading.component(difference(bundle), "side-ratio", book)
    if part is None:
        raise NoPlaceError
    part["valueQuantity"]["value"] += 2


@fault
def msk_der_1_wrong_lesser_side(bundle: Json, book: Book) -> None:
    part = reading.component(difference(bundle), "lesser-side", book)
    if part is None:
        raise NoPlaceError
    stated = {book.sides.get(key) for key in reading.keys(part["valueCodeableConcept"])}
    code = "7771000" if stated == {"right"} else "24028007"
    coding = {"system": SNOMED, "code": code, "display": book.displays[SNOMED, code]}
    part["valueCodeableConcept"] = {"coding": [coding]}


@fault
def msk_der_1_arc_that_its_sources_do_not_give(bundle: Json, _: Book) -> None:
    computed(bundle, "arc-of-motion")["valueQuantity"]["value"] += 1


@fault
def msk_der_1_arc_without_one_of_its_sources(bundle: Json, _: Book) -> None:
    computed(bundle, "arc-of-motion")["derivedFrom"].pop()


@fault
def msk_der_1_arc_of_the_other_side(bundle: Json, book: Book) -> None:
    arc = computed(bundle, "arc-of-motion")
    stated = {side for _, side in reading.stated_sides(arc, book)}
    _set_laterality(arc, "7771000" if stated == {"right"} else "24028007")


@fault
def msk_der_1_rule_not_named(bundle: Json, _: Book) -> None:
    computed(bundle, "arc-of-motion")["method"]["text"] = "Calculated"


@fault
def msk_der_1_word_of_a_grading_without_its_scheme(bundle: Json, _: Book) -> None:
    del computed(bundle, "total-active-motion")["component"][0]["code"]["text"]


@fault
def msk_pan_1_panel_with_a_value(bundle: Json, _: Book) -> None:
    panel(bundle)["valueQuantity"] = dict(measured(bundle)["valueQuantity"])


@fault
def msk_pan_1_finding_left_out_of_its_panel(bundle: Json, _: Book) -> None:
    panel(bundle)["hasMember"].pop(0)


@fault
def msk_pan_1_finding_in_its_panel_twice(bundle: Json, _: Book) -> None:
    members = panel(bundle)["hasMember"]
    members.append(dict(members[0]))


@fault
def msk_pan_1_panel_left_out_of_the_report(bundle: Json, _: Book) -> None:
    first_resource(bundle, "DiagnosticReport")["result"].pop(0)


@fault
def msk_mrc_1_wrong_ordinal(bundle: Json, book: Book) -> None:
    graded(bundle, book)["extension"][0]["valueDecimal"] += 1


@fault
def msk_mrc_1_ordinal_missing(bundle: Json, book: Book) -> None:
    del graded(bundle, book)["extension"]


@fault
def obs_02_identifier_missing(bundle: Json, _: Book) -> None:
    del measured(bundle)["identifier"]


@fault
def obs_02_category_missing(bundle: Json, _: Book) -> None:
    del measured(bundle)["category"]


@fault
def obs_07_low_called_normal(bundle: Json, _: Book) -> None:
    low = first_observation(bundle, lambda o: "valueQuantity" in o and "L" in _judged(o))
    low["interpretation"][0]["coding"][0] |= {"code": "N", "display": "Normal"}


@fault
def boolean_finding(bundle: Json, _: Book) -> None:
    observation = first_observation(bundle, lambda o: "valueCodeableConcept" in o)
    del observation["valueCodeableConcept"]
    observation["valueBoolean"] = True


def _judged(observation: Json) -> set[str]:
    return {code for c in observation.get("interpretation", ()) for _, code in reading.keys(c)}


def _relative(resource: Json) -> str:
    return f"{resource['resourceType']}/{resource.get('id')}"


def _other(text: str) -> str:
    swapped = {"right": "left", "Right": "Left", "left": "right", "Left": "Right"}
    return " ".join(swapped.get(word, word) for word in text.split(" "))


def _set_laterality(observation: Json, code: str) -> None:
    for extension in observation["bodySite"].get("extension", ()):
        if extension["url"] == reading.LATERALITY:
            extension["valueCodeableConcept"]["coding"][0] = {"system": SNOMED, "code": code}
            return
    raise NoPlaceError
