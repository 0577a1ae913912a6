"""Names and displays of the concepts of our own code system, made from the rows.

Everybody who needs the code of a motion, sign, site or absence asks the functions here, so that a
concept has one name in the whole service.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.tables.rows import Concept

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.tables.load import Tables
    from brachium.tables.rows import Joint, MotionRow, SignRow, Site, StrengthRow

PARTS = ("inspection", "motion", "palpation", "strength")
# why a finding has no result (EXM-15), and how that reads
ABSENCES = {
    "not-tested": "Not tested",
    "declined": "Declined by the patient",
    "not-applicable": "Not applicable",
    "not-examined": "Not examined",
}
END_NOTE = "0 = straight, above 0 = short of straight, below 0 = beyond straight"


def in_text(label: str) -> str:
    """Return a label as it reads inside a sentence: "Elbow" -> "elbow", "MCP joint" stays."""
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def motion_concept(row: MotionRow, mode: str) -> str:
    """Return the concept of a motion in a mode (active or passive)."""
    middle = {"angle": "-rom", "end": "-end-position"}.get(row.measure, "")
    return f"{row.joint}-{row.motion}{middle}-{mode}"


def side_difference_concept(concept: str) -> str:
    """Return the concept of "right minus left" of a measured concept."""
    return f"{concept}-side-difference"


def sign_concept(part: str, sign: str) -> str:
    """Return the concept of a sign of inspection or palpation."""
    return f"{part}-{sign}"


def strength_concept(joint: str, test: str) -> str:
    """Return the concept of a strength test."""
    return f"{joint}-{test}-strength"


def part_concept(joint: str, part: str) -> str:
    """Return the concept of a whole part of a joint recorded at once."""
    return f"{joint}-{part}-overall"


def panel_concept(joint: str) -> str:
    """Return the concept of the panel that groups the findings of a joint."""
    return f"panel-{joint}"


def site_concept(joint: str, site: str | None = None, digit: str | None = None) -> str:
    """Return the concept of the body site of a finding."""
    return "-".join(part for part in ("site", joint, site, digit) if part)


def absence_concept(reason: str, because: str | None = None) -> str:
    """Return the concept of why a finding has no result; ``because`` is a limiter."""
    return f"{reason}-{because}" if because else reason


def method_concept(method: str) -> str:
    """Return the concept of a method."""
    return f"method-{method}"


def device_concept(device: str) -> str:
    """Return the concept of a device."""
    return f"device-{device}"


def option_concept(kind: str, option: str) -> str:
    """Return the concept of a body position, an arm position or a limiter."""
    return f"limited-by-{option}" if kind == "limiter" else f"{kind}-{option}"


def motion_display(row: MotionRow, mode: str) -> str:
    """Return the side-free name of a motion in a mode."""
    if row.measure == "angle":
        return f"{row.label}, {mode} range of motion"
    if row.measure == "end":
        return f"{row.label}, end position of {mode} motion ({END_NOTE})"
    return f"{row.label}, {mode}"


def strength_display(row: StrengthRow) -> str:
    """Return the side-free name of a strength test."""
    return f"{row.label} strength" if row.measure == "force" else f"{row.label}, muscle strength"


def site_display(tables: Tables, joint: Joint, site: Site | None, digit: str | None) -> str:
    """Return the side-free name of a body site."""
    label = site.label if site else joint.label
    own = site.digits if site else joint.digits
    if digit is None:
        return f"{label} of {joint.region}" if own else label
    if not own:
        return tables.digits[digit].label
    return f"{label} of {in_text(tables.digits[digit].label)}"


def concepts(tables: Tables) -> Iterator[Concept]:
    """Yield every concept that the rows give rise to (also one that comes twice)."""
    for qualifier in tables.qualifiers.values():
        yield Concept(qualifier.qualifier, qualifier.label, "qualifier")
    for row in tables.computations.values():
        yield Concept(row.computation, row.label, "computation", f"Rule {row.rule}")
    yield from _absences(tables)
    yield from _means(tables)
    yield from (_sign(row) for row in tables.signs.values())
    for joint in tables.joints.values():
        yield from _joint(joint)
        yield from _sites(tables, joint)
    yield from _motions(tables)
    yield from _strength(tables)


def _absences(tables: Tables) -> Iterator[Concept]:
    limiters = [row for row in tables.options.values() if row.kind == "limiter"]
    for reason, words in ABSENCES.items():
        yield Concept(absence_concept(reason), words, "absence")
        for row in limiters:
            code = absence_concept(reason, row.option)
            yield Concept(code, f"{words}: {in_text(row.label)}", "absence")


def _means(tables: Tables) -> Iterator[Concept]:
    for option in tables.options.values():
        yield Concept(option_concept(option.kind, option.option), option.label, option.kind)
    devices = {}
    for method in tables.methods.values():
        yield Concept(method_concept(method.method), method.label, "method")
        if method.device:
            devices[method.device] = method.device_label
    for device, label in devices.items():
        yield Concept(device_concept(device), label, "device")


def _sign(row: SignRow) -> Concept:
    return Concept(sign_concept(row.part, row.sign), row.label, "sign")


def _joint(joint: Joint) -> Iterator[Concept]:
    yield Concept(panel_concept(joint.joint), f"Examination of the {joint.plural}", "panel")
    name = f"{joint.label} of {joint.region}" if joint.digits else joint.label
    for part in PARTS:
        yield Concept(part_concept(joint.joint, part), f"{name}, {part} as a whole", "part")


def _sites(tables: Tables, joint: Joint) -> Iterator[Concept]:
    digits = set(joint.digits)
    digits.update(*(m.digits for m in tables.motions.values() if m.joint == joint.joint))
    digits.update(*(s.digits for s in tables.strength.values() if s.joint == joint.joint))
    wanted: list[tuple[Site | None, set[str]]] = [(None, digits)]
    # one site may be both looked at and felt: it is one place
    places = {row.site: row for row in tables.sites.values() if row.joint == joint.joint}
    wanted += [(row, set(row.digits)) for row in places.values()]
    for site, own in wanted:
        for digit in (None, *(d for d in tables.digits if d in own)):
            code = site_concept(joint.joint, site.site if site else None, digit)
            yield Concept(code, site_display(tables, joint, site, digit), "site")


def _motions(tables: Tables) -> Iterator[Concept]:
    for row in tables.motions.values():
        for mode in row.modes:
            code, display = motion_concept(row, mode), motion_display(row, mode)
            yield Concept(code, display, "motion")
            if row.measure != "grade":
                yield _difference(code, display)


def _strength(tables: Tables) -> Iterator[Concept]:
    for row in tables.strength.values():
        code, display = strength_concept(row.joint, row.test), strength_display(row)
        yield Concept(code, display, "strength")
        if row.measure == "force":
            yield _difference(code, display)


def _difference(code: str, display: str) -> Concept:
    words = f"{display}, right minus left"
    return Concept(side_difference_concept(code), words, "side-difference")
